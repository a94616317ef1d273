"""How fast verdicts are reached: a fleet at once against sign by sign, and the bare rule.

The peer is the same work done the plain way by the same code: each sign judged in a request
of its own, each mean compared by itself. No outside program is timed.
"""

from __future__ import annotations

import random
import time
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection

from inventory.engineering.assessment.assess import assess_face, assess_faces
from inventory.engineering.assessment.compare import meets_level
from inventory.engineering.assessment.decision import DecisionRule
from inventory.engineering.assessment.plan import plan_face
from inventory.models import Sign
from inventory.services.assessment import assess_sign, assess_signs, mark_due
from inventory.services.judging import gather
from inventory.services.own_levels import rules_on
from inventory.services.people import policy_at
from inventory.services.standards import code_book
from tests.bench import decision_rows
from tests.bench.database import temporary_database
from tests.bench.fleet import (
    NOW,
    ROUGH_ROAD,
    SPEED_LIMIT,
    STOP,
    STREET_NAME,
    TURN,
    make_fleet,
    set_rules,
)
from tests.bench.rows import Row

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.engineering.assessment.face import Rules
    from inventory.models import Organisation

SIGNS = 3_000
SIGNS_ONE_BY_ONE = 200
VISITS = 3
MEANS = 1_000_000
MEANS_ONE_BY_ONE = 100_000
REPEATS = 3
SEED = 20260601
KINDS = (STOP, TURN, ROUGH_ROAD, STREET_NAME, SPEED_LIMIT)


def run() -> list[Row]:
    """Return the figures; the fleet stands in a database of its own that is dropped after."""
    with temporary_database():
        dice = random.Random(SEED)  # noqa: S311 - invented readings, not a secret
        agency = make_fleet("Bench County", KINDS, dice, signs=SIGNS, visits=VISITS)
        own = [*_fleet_rows(agency), *_face_rows(agency), _comparison_row()]
    return [*own, *decision_rows.rows()]


def _fleet_rows(agency: Organisation) -> list[Row]:
    signs = list(Sign.objects.owned_by(agency).order_by("pk"))
    alone = random.Random(SEED).sample(signs, SIGNS_ONE_BY_ONE)  # noqa: S311 - a sample
    set_rules(agency)
    alone_s = _seconds(lambda: [assess_sign(sign=one, now=NOW) for one in alone])
    per_sign_s = alone_s / len(alone)
    set_rules(agency)
    together_s = _seconds(lambda: assess_signs(organisation=agency, now=NOW)) / SIGNS
    again_s = _seconds(lambda: assess_signs(organisation=agency, now=NOW)) / SIGNS
    standing_s = _seconds(lambda: mark_due(organisation=agency, now=NOW)) / SIGNS
    ratio = per_sign_s / together_s
    return [
        Row(
            name=f"judge and store {SIGNS:,} signs",
            value=1 / together_s,
            unit="signs/s",
            peer="sign by sign",
            peer_value=1 / per_sign_s,
            ratio=ratio,
            target="≥ 5 × sign by sign",
            holds=ratio >= 5,
            note=f"{connection.vendor}; {VISITS} visits a sign; the peer on {len(alone)} signs",
        ),
        Row(
            name="the same again, nothing changed",
            value=1 / again_s,
            unit="signs/s",
            peer="the first time",
            peer_value=1 / together_s,
            ratio=together_s / again_s,
        ),
        Row(name="rebuild the due list", value=1 / standing_s, unit="signs/s"),
    ]


def _face_rows(agency: Organisation) -> list[Row]:
    """Return the verdict alone, without the database: as a batch, one by one, plans anew."""
    simple = rules_on(policy_at(agency, NOW.date()), NOW.date())
    signs = Sign.objects.owned_by(agency).select_related("position").order_by("pk")
    gathered = gather(list(signs), code_book(agency), ZoneInfo(agency.time_zone))
    cases = [(one.face, one.readings) for one in gathered]

    def one_by_one(rules: Rules, *, shared: bool = True) -> None:
        for face, readings in cases:
            if not shared:
                plan_face.cache_clear()
            assess_face(face, readings, rules)

    assess_faces(cases, simple)  # makes the plans, as a fleet would keep them
    anew_s = _best(lambda: one_by_one(simple, shared=False)) / len(cases)
    rows = []
    for rules in (simple, replace(simple, decision_rule=DecisionRule(0.95))):
        together_s = _best(partial(assess_faces, cases, rules)) / len(cases)
        alone_s = _best(partial(one_by_one, rules)) / len(cases)
        rows.append(
            Row(
                name=f"verdict on a face with words, no database, {rules.decision_rule.words}",
                value=1 / together_s,
                unit="faces/s",
                peer="face by face",
                peer_value=1 / alone_s,
                ratio=alone_s / together_s,
            )
        )
    rows.append(
        Row(
            name="face by face, plans made anew",
            value=1 / anew_s,
            unit="faces/s",
            note="what keeping a plan for equal faces saves",
        )
    )
    return rows


def _comparison_row() -> Row:
    """Return the bare comparison of a mean with its level, many at once and one by one."""
    draw = np.random.default_rng(SEED)
    counts = draw.integers(1, 6, MEANS)
    totals = draw.integers(0, 400_000, MEANS) * counts
    levels = draw.choice(np.array([7_000, 35_000, 50_000, 75_000, 120_000]), MEANS)
    plain = [each[:MEANS_ONE_BY_ONE].tolist() for each in (totals, counts, levels)]

    def one_by_one() -> list[bool]:
        return [meets_level(*case) for case in zip(*plain, strict=True)]

    together_s = _best(lambda: meets_level(totals, counts, levels)) / MEANS
    alone_s = _best(one_by_one) / MEANS_ONE_BY_ONE
    return Row(
        name="compare a mean with its level, one core",
        value=1 / together_s,
        unit="1/s",
        peer="one by one",
        peer_value=1 / alone_s,
        ratio=alone_s / together_s,
        note="the comparison only: not the choice of rows, not the reason in words",
    )


def _seconds(work: Callable[[], Any]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _best(work: Callable[[], Any]) -> float:
    return min(_seconds(work) for _ in range(REPEATS))

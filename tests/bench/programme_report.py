"""
How much of a processor the report for a council takes, at 20,000 signs.

The peer is the plain read of the stored rows that it rests on, nothing counted. The clock is
the processor's, since gathering is what the page costs whoever else is at work.
"""

from __future__ import annotations

import io
import random
import statistics
import time
from datetime import date, timedelta
from typing import TYPE_CHECKING

from inventory.engineering.places import cell_of
from inventory.interchange.council_report import council_document
from inventory.interchange.council_report_pdf import write_council_report
from inventory.models import (
    Inspection,
    MethodAssignment,
    Organisation,
    PlannedReplacement,
    Position,
    Programme,
    ReadingSet,
    Road,
    Sign,
    SignForecast,
    Standing,
    Support,
)
from inventory.services.methods import create_group
from inventory.services.people import create_organisation
from inventory.services.programme.report import council_report
from inventory.services.programme.work_bases import set_work_basis
from tests.bench.database import temporary_database
from tests.bench.fleet import NOW, set_rules
from tests.bench.rows import Row
from tests.factories import position_of

if TYPE_CHECKING:
    from collections.abc import Callable

SIGNS, ROADS, VISITS = 20_000, 200, 2
ROUNDS = 5
AIM_S = 2.0
FIRST, YEARS = NOW.year + 1, 10
SHEETINGS = ("XI prismatic", "IV prismatic", "III beaded", "I beaded", "")
VERDICTS = ("meets", "meets", "meets", "below", "undecided", "no usable reading", "no level")


def rows() -> list[Row]:
    """Return the figures on a database of their own, of the kind of the settings."""
    with temporary_database():
        programme = _make(random.Random(20261201))  # noqa: S311 - an invented fleet
        gather = [
            _taken(lambda: council_report(programme=programme, now=NOW)) for _ in range(ROUNDS)
        ]
        plain = [_taken(lambda: _plain(programme)) for _ in range(ROUNDS)]
        document = council_document(council_report(programme=programme, now=NOW))
        drawn = [
            _taken(lambda: write_council_report(document, io.BytesIO())) for _ in range(ROUNDS)
        ]
    middle, peer = statistics.median(gather), statistics.median(plain)
    return [
        Row(
            name=f"council's report of {SIGNS:,} signs: gathering",
            value=middle,
            unit="s of processor",
            peer="plain read of the rows it rests on",
            peer_value=peer,
            ratio=middle / peer,
            target=f"< {AIM_S:g} s",
            holds=middle < AIM_S,
            note=f"the middle of {ROUNDS} ({min(gather):.2f} to {max(gather):.2f})",
        ),
        Row(
            name=f"council's report of {SIGNS:,} signs: the PDF",
            value=statistics.median(drawn),
            unit="s of processor",
            target=f"< {AIM_S:g} s",
            holds=statistics.median(drawn) < AIM_S,
            note="drawn from the figures already gathered",
        ),
    ]


def _taken(what: Callable[[], object]) -> float:
    started = time.process_time()
    what()
    return time.process_time() - started


def _plain(programme: Programme) -> None:
    standings = Standing.objects.owned_by(programme.organisation).order_by("sign_id")
    list(
        standings.values_list(
            "sign_id", "verdict", "sheeting", "latitude_deg", "sign__position"
        )
    )
    planned = PlannedReplacement.objects.filter(programme=programme).order_by("position")
    list(planned.values_list("position_id", "year", "cost"))
    assigned = MethodAssignment.objects.owned_by(programme.organisation).order_by("position")
    list(assigned.values_list("position_id", "group_id"))
    visits = Inspection.objects.owned_by(programme.organisation).order_by()
    list(visits.values_list("sign_id", "taken_at"))


def _make(dice: random.Random) -> Programme:
    """Put an agency on record with a programme, each sign read twice and under a method."""
    agency = create_organisation(name="Wide County", kind=Organisation.Kind.AGENCY)
    set_rules(agency)
    roads = Road.objects.bulk_create(
        Road(organisation=agency, name=f"Road {number}",
             line=[[-90.0 + step / 50, 43.0 + number / 400] for step in range(50)])
        for number in range(ROADS)
    )  # fmt: skip
    places = [(43.0 + (number % ROADS) / 400, -90.0 + dice.random()) for number in range(SIGNS)]
    supports = Support.objects.bulk_create(
        (
            Support(organisation=agency, road=roads[number % ROADS], latitude_deg=latitude,
                    longitude_deg=longitude, cell=cell_of(latitude, longitude))
            for number, (latitude, longitude) in enumerate(places)
        ),
        batch_size=2_000,
    )  # fmt: skip
    positions = Position.objects.bulk_create(
        (
            Position(organisation=agency, support=support, sign_code="R1-1", width_in=30.0,
                     height_in=30.0, mount="post")
            for support in supports
        ),
        batch_size=2_000,
    )  # fmt: skip
    signs = Sign.objects.bulk_create(
        (
            Sign(owner=agency, state=Sign.State.INSTALLED, position=position, sign_code="R1-1",
                 width_in=30.0, height_in=30.0, installed_on=date(2015, 5, 1))
            for position in positions
        ),
        batch_size=2_000,
    )  # fmt: skip
    _make_standings(agency, signs, dice)
    _make_visits(agency, signs)
    group = create_group(
        organisation=agency, name="All signs", method="measured", started_on=date(2020, 1, 1),
        basis="assumed", interval_months=24, now=NOW,
    )  # fmt: skip
    MethodAssignment.objects.bulk_create(
        (
            MethodAssignment(group=group, position=position,
                             from_on=date(2020, 1, 1), recorded_at=NOW)
            for position in positions
        ),
        batch_size=2_000,
    )  # fmt: skip
    return _make_programme(agency, signs, dice)


def _make_standings(agency: Organisation, signs: list[Sign], dice: random.Random) -> None:
    Standing.objects.bulk_create(
        (
            Standing(
                organisation=agency, sign=sign, verdict=dice.choice(VERDICTS),
                safety_class=1 + number % 4, responsible="agency", sign_code="R1-1",
                sheeting=dice.choice(SHEETINGS), road=position_of(sign).support.road,
                latitude_deg=position_of(sign).support.latitude_deg,
                longitude_deg=position_of(sign).support.longitude_deg,
                cell=position_of(sign).support.cell, rebuilt_at=NOW,
            )
            for number, sign in enumerate(signs)
        ),
        batch_size=2_000,
    )  # fmt: skip
    SignForecast.objects.bulk_create(
        (
            SignForecast(
                organisation=agency, sign=sign, made_at=NOW, as_of_on=NOW.date(),
                method_version="bench", fingerprint="f", basis="cohort", sentence="",
                probability_below=dice.random(), probabilities_below=[0.1] * 30,
                safety_class=1,
            )
            for sign in signs
        ),
        batch_size=2_000,
    )  # fmt: skip


def _make_visits(agency: Organisation, signs: list[Sign]) -> None:
    for number in range(VISITS):
        at = NOW - timedelta(days=300 * (number + 1))
        visits = Inspection.objects.bulk_create(
            (
                Inspection(organisation=agency, sign=sign, taken_at=at, recorded_at=at,
                           how="hand_held")
                for sign in signs
            ),
            batch_size=2_000,
        )  # fmt: skip
        ReadingSet.objects.bulk_create(
            (
                ReadingSet(inspection=visit, number=place, color=color,
                           observation_angle_deg="0.2", entrance_angle_deg="-4.0")
                for visit in visits
                for place, color in enumerate(("white", "red"), start=1)
            ),
            batch_size=2_000,
        )  # fmt: skip


def _make_programme(agency: Organisation, signs: list[Sign], dice: random.Random) -> Programme:
    basis = set_work_basis(
        agency=agency, effective_on=date(2020, 1, 1), basis="assumed", face_price=40.0,
        face_price_per_ft2=9.0, crew_price_per_h=120.0, face_hours=0.4, support_hours=0.3,
        stretch_hours=0.5, lead_days=60, now=NOW,
    )  # fmt: skip
    by_year = [
        {
            "year": FIRST + number, "replaced": 0, "money": 1.0, "crew_hours": 1.0,
            "below": 100.0, "below_nothing": 200.0 + number, "class_1_below": 0.0,
        }
        for number in range(YEARS)
    ]  # fmt: skip
    programme: Programme = Programme.objects.create(
        organisation=agency, name="Bench", first_year=FIRST, years=YEARS,
        budget=[1e6] * YEARS, crew_hours=[1e4] * YEARS, work_basis=basis, made_at=NOW,
        solved_at=NOW,
        result={"by_year": by_year, "risk_left": 1.0, "risk_nothing": 2.0, "assumptions": []},
    )  # fmt: skip
    PlannedReplacement.objects.bulk_create(
        (
            PlannedReplacement(
                programme=programme, position=sign.position, sign=sign,
                year=dice.choice((None, None, *range(FIRST, FIRST + YEARS))), reason="worth it",
                cost=120.0, crew_hours=0.7, safety_class=1 + number % 4, risk_left=0.1,
            )
            for number, sign in enumerate(signs)
        ),
        batch_size=2_000,
    )  # fmt: skip
    return programme

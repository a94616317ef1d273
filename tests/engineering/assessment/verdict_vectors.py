"""
Verdicts of the Python methods, written out for the phone's scripts to be compared with.

`python -m tests.engineering.assessment.verdict_vectors` writes them; the runner of the scripts'
tests does so first. The seed is fixed, so that every run makes the same cases. A good part are
exact ties: a mean on its level, a ratio on its least.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

from inventory.engineering.assessment.assess import FaceAssessment, assess_faces
from inventory.engineering.assessment.carried import (
    carry_plan,
    carry_readings,
    carry_rules,
    plan_key,
)
from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE, DecisionRule
from inventory.engineering.assessment.elements import ElementPlan
from inventory.engineering.assessment.face import (
    Colouring,
    Face,
    FaceArea,
    OwnLevel,
    Part,
    ReadingSet,
    Rules,
    select_readings,
)
from inventory.engineering.assessment.plan import plan_face
from inventory.engineering.assessment.wording import uncertainty_words
from inventory.engineering.inspection.instrument_uncertainty import (
    ASSUMED_UNCERTAINTY,
    InstrumentUncertainty,
)
from inventory.engineering.inspection.readings import parse_reading, to_thousandths
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.catalogue import sign_types
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    ExclusionKey,
    MountClass,
    Optics,
    Series,
    Shape,
    SymbolClass,
)
from inventory.errors import OutOfRangeError

SEED = 20260501
CASE_COUNT = 12_000
TIE_SHARE = 0.25
BUILD = Path(__file__).resolve().parents[3] / "build" / "verdict_vectors.json"

_DAY = datetime(2026, 5, 1, 14, 30, 0, 123_456, tzinfo=UTC)
_TYPES = sign_types()
_SHEETINGS = (
    ("", Optics.UNKNOWN),
    ("I", Optics.BEADED),
    ("II", Optics.BEADED),
    ("III", Optics.BEADED),
    ("III", Optics.UNKNOWN),
    ("IX", Optics.PRISMATIC),
    ("XI", Optics.PRISMATIC),
)
_SIZES = (None, *(Decimal(side) for side in ("18", "30", "36", "48", "60")))
_PAIRS = (
    (Color.RED, Color.WHITE),
    (Color.WHITE, Color.BLACK),
    (Color.YELLOW, Color.BLACK),
    (Color.FLUORESCENT_YELLOW, Color.BLACK),
    (Color.FLUORESCENT_YELLOW_GREEN, Color.BLACK),
    (Color.ORANGE, Color.BLACK),
    (Color.FLUORESCENT_ORANGE, Color.BLACK),
    (Color.GREEN, Color.WHITE),
    (Color.BLUE, Color.WHITE),
    (Color.BROWN, Color.WHITE),
)
_UNCERTAINTIES = (
    ASSUMED_UNCERTAINTY,
    InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate"),
    InstrumentUncertainty(0.0, 0.02, 0.05, "an invented certificate", 8.0),
    InstrumentUncertainty(0.02, 0.0, 0.2, "an invented trial", 1.0),
    InstrumentUncertainty(0.05, 0.3, 0.3, "an invented trial", 50.0),
)
_OWN_LEVELS = tuple(
    OwnLevel(
        background=background,
        legend=Color.BLACK,
        color=background,
        minimum_ra_cd_lx_m2=minimum,
        basis="an invented trial",
        approved_by="an invented engineer",
        approved_on=date(2025, 3, 1),
        effective_on=date(2025, 4, 1),
    )
    for background, minimum in (
        (Color.FLUORESCENT_YELLOW_GREEN, Decimal("62.5")),
        (Color.FLUORESCENT_ORANGE, Decimal("48.125")),
    )
)


_TYPED = (
    *("35", " 35.0 ", "35.000", "+35.", ".5", "035", "0", "-0", "-0.0", "2000", "2000.000"),
    *(
        "",
        "  ",
        "35,0",
        "abc",
        "-1",
        "1.2345",
        "1e3",
        "2000.001",
        "2001",
        ".",
        "+",
        "--1",
        "1.2.",
    ),
    *("0000000000000000000000035", "999999999999999999999999", "NaN", "Infinity", "٣٥", "35 0"),
)
_AMOUNTS = (
    *(0.0, 1e-7, 0.0995, 0.1, 0.125, 0.15, 0.357, 0.999, 1.0, 1.25, 2.5, 4.1796, 9.95),
    *(10.0, 10.5, 11.5, 99.5, 100.0, 122.5, 123.5, 999.5, 1000.0),
)


def all_rules() -> list[Rules]:
    """Both editions under every kind of rule, with the choices an agency can make."""
    decisions = [SIMPLE_ACCEPTANCE, *map(DecisionRule, (0.51, 0.9, 0.95, 0.99, 0.9999))]
    found = []
    for edition in (Edition.MUTCD_2009, Edition.MUTCD_11):
        for at, (decision, is_open) in enumerate(
            (decision, is_open) for decision in decisions for is_open in (False, True)
        ):
            found.append(
                Rules(
                    edition,
                    uses_recommended_levels=is_open,
                    excluded_groups=frozenset(ExclusionKey) if at % 5 == 4 else frozenset(),
                    decision_rule=decision,
                    uncertainty=_UNCERTAINTIES[at % len(_UNCERTAINTIES)],
                    fluorescent_yellow_basis="an invented choice" if is_open else "",
                    fluorescent_orange_basis="an invented choice" if at % 4 == 1 else "",
                    own_levels=_OWN_LEVELS if at % 3 else (),
                )
            )
    return found


def draw_face(random: Random) -> Face:
    """A face of the catalogue, of an agency's own or of no known code; half well recorded."""
    sign_type = random.choice(
        (
            random.choice(_TYPES),
            random.choice(_TYPES),
            next(each for each in _TYPES if each.code == "R1-1"),
            None,
            local_sign_type(
                code="LW-1",
                name="Of the agency's own",
                series=random.choice(list(Series)),
                shape=random.choice([None, *Shape]),
                background=random.choice([None, *Color]),
                legend=random.choice([None, *Color]),
                symbol_class=random.choice([None, *SymbolClass]),
            ),
        )
    )
    background, legend = random.choice(_PAIRS)
    if sign_type is not None and sign_type.background and sign_type.legend:
        background, legend = sign_type.background, sign_type.legend
    areas = tuple(
        FaceArea(part, color, *random.choice(_SHEETINGS), random.choice(list(Colouring)))
        for part, color in ((Part.BACKGROUND, background), (Part.LEGEND, legend))
    )
    if random.random() < 0.5:
        sheeting = random.choice(_SHEETINGS[1:])
        areas = tuple(
            FaceArea(each.part, each.color, *sheeting, Colouring.SHEETING) for each in areas
        )
    if random.random() < 0.15:
        areas = ()
    if random.random() < 0.1:
        areas += (FaceArea(Part.SECONDARY, random.choice([None, *Color])),)
    return Face(
        sign_type,
        areas,
        random.choice([None, *MountClass]),
        random.choice(_SIZES),
        random.choice(_SIZES),
    )


def draw_values(random: Random, around: int) -> tuple[Decimal, ...]:
    """One to hundreds of readings near a figure in thousandths, as instruments show them."""
    kind = random.random()
    count = random.choice((1, 2, 3, 4, 4, 4, 5, 8))
    if kind < 0.03:
        count = random.choice((100, 400, 900))
    if kind > 0.96:
        return (Decimal(random.choice(("0", "0.0", "0.001"))),) * random.choice((1, 4))
    spread = random.choice((0.0, 0.001, 0.03, 0.1, 0.3))
    center = around * random.choice((0.5, 0.9, 0.97, 1.0, 1.03, 1.1, 1.5, 3.0))
    step = random.choice((1, 10, 100, 1000))
    values = [
        max(0, min(2_000_000, round(random.gauss(center, center * spread) / step) * step))
        for _ in range(count)
    ]
    if count > 3 and random.random() < 0.1:
        values[random.randrange(count)] *= 2
        values = [min(value, 2_000_000) for value in values]
    return tuple(_typed(random, value) for value in values)


def values_with_sum(random: Random, total: int, count: int) -> tuple[Decimal, ...]:
    """Readings whose sum is exactly a total of thousandths."""
    values = [total // count] * count
    values[0] += total - sum(values)
    for _ in range(3 * count if count > 1 else 0):
        giver, taker = random.sample(range(count), 2)
        moved = random.randint(0, max(0, min(values[giver], 2_000_000 - values[taker]) // 10))
        values[giver] -= moved
        values[taker] += moved
    random.shuffle(values)
    return tuple(_typed(random, value) for value in values)


def _typed(random: Random, thousandths: int) -> Decimal:
    """The decimal, with noughts after the point as an instrument may show them."""
    value = Decimal(thousandths) / 1000
    if random.random() < 0.2:
        return value.quantize(Decimal("0.001"))
    return value


def draw_readings(random: Random, elements: tuple[ElementPlan, ...]) -> list[ReadingSet]:
    """Readings near the levels of a face: some colours missing, some sets not usable."""
    sets = []
    for element in elements:
        if element.denominator is not None or random.random() < 0.06:
            continue
        levels = [row.level for row in element.candidates if row.level]
        around = random.choice(levels) if levels else 60_000
        sets.append(_set(random, element.color, draw_values(random, around)))
        if random.random() < 0.1:
            sets.append(_odd_set(random, element.color, draw_values(random, around)[:8]))
    if random.random() < 0.05:
        sets.append(_odd_set(random, random.choice(list(Color)), (Decimal("12.3"),)))
    random.shuffle(sets)
    return sets


def tied_readings(random: Random, elements: tuple[ElementPlan, ...]) -> list[ReadingSet] | None:
    """Readings one of whose means or ratios is exactly on a level; none where none can be."""
    readings = [
        _set(random, each.color, draw_values(random, 60_000))
        for each in elements
        if each.denominator is None
    ]
    levelled = [each for each in elements if any(row.level for row in each.candidates)]
    if not levelled:
        return None
    element = random.choice(levelled)
    level = random.choice([row.level for row in element.candidates if row.level])
    count = random.choice((1, 1, 2, 3, 4, 4, 7, 33, 250))
    if element.denominator is None:
        tied = {element.color: values_with_sum(random, level * count, count)}
    else:
        red_count = random.choice((1, 2, 3, 4, 4, 7))
        red = random.choice((99_900, 7_000, random.randint(1, 300_000)))
        # white/count = level/1000 · red/1: whole where count takes the thousand.
        total = Fraction(level, 1000) * red * count
        if total.denominator != 1 or total > 2_000_000 * count:
            return None
        tied = {
            Color.WHITE: values_with_sum(random, int(total), count),
            Color.RED: values_with_sum(random, red * red_count, red_count),
        }
    kept = [each for each in readings if each.color not in tied]
    return kept + [_set(random, color, values) for color, values in tied.items()]


def _set(random: Random, color: Color, values: tuple[Decimal, ...]) -> ReadingSet:
    return ReadingSet(
        color,
        values,
        _DAY,
        3,
        surface_state=random.choice(
            (SurfaceState.DRY, SurfaceState.DIRTY, SurfaceState.UNKNOWN)
        ),
        how=How.MOBILE if random.random() < 0.05 else How.HAND_HELD,
        instrument=random.choice((None, 1, 1, 1, 2)),
    )


def _odd_set(random: Random, color: Color, values: tuple[Decimal, ...]) -> ReadingSet:
    """A set of another visit, of the same one, or one that is not judged."""
    days = random.choice((-400, -1, 0, 0, 1, 30))
    other = replace(
        _set(random, color, values),
        taken_at=_DAY + timedelta(days=days, microseconds=random.choice((0, 1))),
        visit=random.choice((1, 3, 4)),
    )
    if random.random() < 0.5:
        return other
    return replace(
        other,
        values=values if random.random() < 0.95 else (),
        how=random.choice(list(How)),
        surface_state=random.choice(list(SurfaceState)),
        observation_angle_deg=Decimal(random.choice(("0.2", "0.20", "0.25", "1"))),
        entrance_angle_deg=Decimal(random.choice(("-4.0", "-4", "30", "-4.05"))),
        doubt=random.choice(("", "", "an invented doubt")),
    )


def draw_case(random: Random, rules: Rules) -> tuple[Face, list[ReadingSet]]:
    """One face with its readings; a share of them exactly on a level."""
    wants_tie = random.random() < TIE_SHARE
    while True:
        face = draw_face(random)
        elements = plan_face(face, rules.narrowed_to(face)).elements
        if not wants_tie:
            return face, draw_readings(random, elements)
        readings = tied_readings(random, elements)
        if readings is not None:
            return face, readings


def expected(result: FaceAssessment) -> dict[str, Any]:
    """What Python says, in the shape of the phone's answer."""
    return {
        "verdict": result.verdict.value,
        "reason": result.reason,
        "probability_low": result.probability_low,
        "probability_high": result.probability_high,
        "elements": [
            {
                "name": each.color,
                "verdict": each.verdict.value,
                "reason": each.reason,
                "value": (
                    None
                    if each.value is None
                    else [str(each.value.numerator), str(each.value.denominator)]
                ),
                "level": None if each.level is None else int(each.level * 1000),
                "table_id": each.table_id,
                "row_id": each.row_id,
                "checked": "" if each.checked is None else each.checked.value,
                "count": each.reading_count,
                "p": each.probability,
                "U": each.expanded_uncertainty,
                "low": each.interval_low,
                "high": each.interval_high,
                "further": each.further_readings,
                "flags": list(each.flags),
                "decides": each.decides,
            }
            for each in result.elements
        ],
    }


def is_tie(plan: dict[str, Any], result: FaceAssessment) -> bool:
    """Whether a mean or ratio is exactly one of the levels it is compared with."""
    return any(
        each.value is not None and each.value == Fraction(row["level"], 1000)
        for each, element in zip(result.elements, plan["elements"], strict=True)
        for row in element["candidates"]
        if row["level"] is not None
    )


def typed_vectors() -> list[dict[str, Any]]:
    """What is typed as a reading, with the server's sentence or the thousandths it says."""
    found: list[dict[str, Any]] = []
    for text in _TYPED:
        try:
            value = parse_reading(text)
        except OutOfRangeError as reason:
            found.append({"typed": text, "sentence": str(reason), "thousandths": None})
        else:
            whole = to_thousandths(value)
            found.append({"typed": text, "sentence": "", "thousandths": whole})
    return found


def make_vectors(seed: int = SEED, count: int = CASE_COUNT) -> dict[str, Any]:
    """Return policies, plans by key, and cases with what Python says of each."""
    random = Random(seed)  # noqa: S311 - cases to compare, no secret
    all_of = all_rules()
    plans: dict[str, Any] = {}
    cases = []
    shares = [count // len(all_of) + (at < count % len(all_of)) for at in range(len(all_of))]
    for policy, (rules, share) in enumerate(zip(all_of, shares, strict=True)):
        drawn = [draw_case(random, rules) for _ in range(share)]
        results = assess_faces(drawn, rules)
        for (face, readings), result in zip(drawn, results, strict=True):
            plan = carry_plan(face, rules)
            key = plan_key(plan)
            plans[key] = plan
            # What the server sends along is the selection; the whole must judge the same.
            given = select_readings(readings) if random.random() < 0.5 else readings
            cases.append(
                {
                    "policy": policy,
                    "plan": key,
                    "readings": carry_readings(given),
                    "expected": expected(result),
                    "is_tie": not plan["excluded"] and is_tie(plan, result),
                }
            )
    return {
        "seed": seed,
        "policies": [carry_rules(rules) for rules in all_of],
        "plans": plans,
        "cases": cases,
        "typed": typed_vectors(),
        "amounts": [[amount, uncertainty_words(amount)] for amount in _AMOUNTS],
    }


def main() -> int:
    """Write the vectors into the build folder."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else BUILD
    vectors = make_vectors()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(vectors, allow_nan=False), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

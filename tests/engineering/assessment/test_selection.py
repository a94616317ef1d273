"""Which readings are judged: per colour, the newest usable visit."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from inventory.engineering.assessment.assess import assess_face
from inventory.engineering.assessment.face import select_readings
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from tests.engineering.assessment.faces import DAY, RULES, catalogued, element, read

STOP = catalogued("R1-1")
BRIGHT = [read("white", "200"), read("red", "40")]
LATER = {"taken_at": DAY + timedelta(days=400), "visit": 2}


def test_the_newest_visit_is_judged():
    result = assess_face(STOP, [read("white", "30", **LATER), *BRIGHT], RULES)
    assert element(result, "white").value == 30
    assert element(result, "red").value == 40
    assert result.visits == (1, 2)
    assert (
        "The two colours were read on different visits." in element(result, "white/red").flags
    )


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        # Source: MUTCD 11th edition Table 2A-5 note 1 (0.2° and −4.0°); ASTM E2540 (0.5°).
        (
            {"observation_angle_deg": Decimal("0.5")},
            "read at 0.5°/−4.0°; the levels are for 0.2°/−4.0°",
        ),
        (
            {"entrance_angle_deg": Decimal("30")},
            "read at 0.2°/30.0°; the levels are for 0.2°/−4.0°",
        ),
        # Source: TRR 1844 (2003) pp. 79-84, abstract: mean reduction dew 60 %, frost 79 %.
        ({"surface_state": SurfaceState.DEW}, "mean reduction 60 %"),
        ({"surface_state": SurfaceState.FROST}, "mean reduction 79 %"),
        ({"surface_state": SurfaceState.DAMP}, "the face was damp"),
        ({"how": How.VISUAL_NIGHT}, "looked at by night, not measured"),
        ({"doubt": "set aside on 2026-06-02: lens dirty"}, "set aside on 2026-06-02"),
    ],
)
def test_readings_that_are_not_judged_are_kept_and_named(fields, words):
    newer = read("white", "3", **LATER, **fields)
    result = assess_face(STOP, [*BRIGHT, newer], RULES)
    white = element(result, "white")
    assert (white.verdict, white.value) == (Verdict.MEETS, Fraction(200))
    assert f"Kept but not judged: {newer.taken_at:%Y-%m-%d}: " in white.reason
    assert words in white.reason

    alone = element(assess_face(STOP, [newer], RULES), "white")
    assert (alone.verdict, alone.value) == (Verdict.NO_USABLE_READING, None)
    assert alone.reason.startswith("No usable reading of white. Kept but not judged:")
    assert words in alone.reason


@pytest.mark.parametrize(
    "state", [SurfaceState.UNKNOWN, SurfaceState.DRY, SurfaceState.CLEANED, SurfaceState.DIRTY]
)
def test_other_surface_states_are_judged(state):
    result = assess_face(STOP, [read("white", "200", surface_state=state)], RULES)
    assert element(result, "white").value == 200


def test_trailing_noughts_of_an_angle_do_not_matter():
    angles = {
        "observation_angle_deg": Decimal("0.20"),
        "entrance_angle_deg": Decimal("-4.00"),
    }
    assert not read("white", "200", **angles).reason_not_judged


def test_sets_of_one_colour_and_visit_are_put_together():
    result = assess_face(STOP, [read("white", "30", "31"), read("white", "39", "40")], RULES)
    white = element(result, "white")
    assert (white.value, white.reading_count) == (Fraction(35), 4)


def test_a_set_at_another_angle_on_the_judged_visit_is_named_beside_it():
    other = read("white", "90", observation_angle_deg=Decimal("0.5"))
    white = element(assess_face(STOP, [*BRIGHT, other], RULES), "white")
    assert (white.value, white.reading_count) == (Fraction(200), 4)
    assert "read at 0.5°/−4.0°" in white.reason


def test_older_readings_than_the_judged_ones_play_no_part():
    old = read("white", "3", surface_state=SurfaceState.DEW, taken_at=DAY - timedelta(days=9))
    kept = select_readings([old, *BRIGHT])
    assert [each.color.value for each in kept] == ["red", "white"]
    assert old not in kept


def test_of_two_visits_at_one_moment_the_one_recorded_last_is_judged():
    again = read("white", "50", visit=7)
    result = assess_face(STOP, [again, *BRIGHT], RULES)
    assert element(result, "white").value == 50


def test_a_set_without_values_is_no_reading():
    empty = read("white", "1").__class__(BRIGHT[0].color, (), DAY, 3)
    assert element(assess_face(STOP, [empty], RULES), "white").verdict is (
        Verdict.NO_USABLE_READING
    )

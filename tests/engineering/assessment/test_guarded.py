"""Verdicts on faces with their uncertainty: guards, intervals, further readings and flags."""

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.engineering.assessment.assess import METHOD_VERSION, assess_face
from inventory.engineering.assessment.decision import NEVER_SETTLED, DecisionRule
from inventory.engineering.assessment.face import Rules
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
from inventory.engineering.inspection.vocabulary import SurfaceState
from inventory.engineering.standards.vocabulary import Color, Edition, Optics
from tests.engineering.assessment.faces import DAY, catalogued, element, read, two_colors

KNOWN = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
SIMPLE = Rules(Edition.MUTCD_11, uncertainty=KNOWN)
GUARDED = Rules(Edition.MUTCD_11, uncertainty=KNOWN, decision_rule=DecisionRule(0.95))
STOP = catalogued("R1-1")
WHITE = ("38", "40", "41", "41")


def test_a_value_is_shown_with_its_uncertainty_and_probability():
    # By hand, docs/methods/uncertainty.md: mean 40, u = 2.121, 243 degrees of freedom, so
    # U = 1.970 · 2.121 = 4.18; against 35: (40 − 35)/2.121 = 2.357, p = 0.990.
    white = element(assess_face(STOP, [read("white", *WHITE)], SIMPLE), "white")
    assert white.value == 40
    assert white.expanded_uncertainty == pytest.approx(4.178, abs=0.001)
    assert white.probability == pytest.approx(0.9904, abs=0.0001)
    assert (white.interval_low, white.interval_high, white.further_readings) == (None,) * 3
    assert METHOD_VERSION == "assess-2"


def test_a_guard_of_3_5_leaves_39_undecided_against_35_only_when_it_is_not_cleared():
    # Same example: k = 1.651, g = 3.50; 40 ≥ 38.50 meets. A white of 38 ± … with the same
    # spread is 36 in the mean: 1 over the level, within the guard.
    meets = element(assess_face(STOP, [read("white", *WHITE)], GUARDED), "white")
    near = element(assess_face(STOP, [read("white", "34", "36", "37", "37")], GUARDED), "white")
    below = element(assess_face(STOP, [read("white", "25")], GUARDED), "white")
    assert (meets.verdict, near.verdict, below.verdict) == (
        Verdict.MEETS,
        Verdict.UNDECIDED,
        Verdict.BELOW,
    )
    assert near.level == 35
    # By hand: u² = 2/4 + (0.05 · 36)² = 3.74, u = 1.934; k = t(0.95; 168) = 1.654; g = 3.20.
    # The common part alone: 1.645 · 1.8 = 2.96 > 1, so no number of readings settles it.
    assert near.further_readings == NEVER_SETTLED
    assert near.reason == (
        "Undecided: white 36 is within the guard of 3.2 around 35. No further readings would "
        "settle it: the instrument's own uncertainty is too large."
    )
    simple = element(
        assess_face(STOP, [read("white", "34", "36", "37", "37")], SIMPLE), "white"
    )
    assert (simple.verdict, simple.further_readings) == (Verdict.MEETS, None)


def test_an_undecided_colour_says_how_many_further_readings_would_likely_settle_it():
    # By hand: one white of 40, scatter 10 % = 4: u² = 16 + 4 = 20, k = 1.645, g = 7.36 > 5.
    # With one more, 2 readings: 16/2 + 4 = 12 with 1 · (12/8)² = 2 degrees of freedom: 2.920 ·
    # 3.464 = 10.1; 3: 16/3 + 4 = 9.333, 2 · (9.333/5.333)² = 6: 1.943 · 3.055 = 5.94; 4:
    # 16/4 + 4 = 8, 3 · 4 = 12: 1.782 · 2.828 = 5.04; 5: 3.2 + 4 = 7.2, 4 · (7.2/3.2)² = 20:
    # 1.725 · 2.683 = 4.63 ≤ 5. So 4 further ones.
    white = element(assess_face(STOP, [read("white", values=(Decimal(40),))], GUARDED), "white")
    assert (white.verdict, white.further_readings) == (Verdict.UNDECIDED, 4)
    assert white.reason == (
        "Undecided: white 40 is within the guard of 7.4 around 35. Further readings that would "
        "likely settle it: 4."
    )
    assert white.flags == ("Only one reading; 4 a colour are usual.",)


def test_rows_that_could_apply_and_a_guard_together():
    # W8-8 of unknown size: 75 or 50. Four yellows of 53 meet 50 but not with the guard.
    face = catalogued("W8-8", width_in=None, height_in=None)
    result = assess_face(face, [read("yellow", "53")], GUARDED)
    yellow = element(result, "yellow")
    assert (yellow.verdict, yellow.level, yellow.probability) == (Verdict.UNDECIDED, None, None)
    assert yellow.reason == (
        "Undecided: size not known. Yellow 53 could be below 75; or within the guard around 50."
    )
    assert result.probability_low == pytest.approx(0, abs=1e-6)
    # (53 − 50)/u, u² = (0.03 · 53)²/4 + (0.05 · 53)² = 7.65: 1.084, p = 0.86.
    assert result.probability_high == pytest.approx(0.860, abs=0.001)


def test_the_common_part_enters_a_contrast_only_within_one_session_of_one_instrument():
    stated = InstrumentUncertainty(0, 0.08, 0.1, "an invented certificate")
    rules = Rules(Edition.MUTCD_11, uncertainty=stated, decision_rule=DecisionRule(0.985))
    white = ("58", "58", "62", "62")
    red = ("13", "13", "17", "17")  # standard deviation of both: √(16/3) = 2.309

    def contrast(**of_red):
        given = {"instrument": 7} | of_red
        sets = [read("white", *white, instrument=7), read("red", *red, **given)]
        return element(assess_face(STOP, sets, rules), "white/red")

    # By hand as in docs/methods/uncertainty.md. Together: u² = 1.333 + 9 · 1.333 + (4.8 − 3.6)²
    # = 14.77, dof 14.77²/((1.333² + 12²)/3) = 4.49, so 4; g = t(0.985; 4) · u = 3.298 · 3.844
    # = 12.7 ≤ 15. t² = 7.709: a = 203.6, b = 855.6, q = 3412.1: 3412.1/(855.6 + 193.1) = 3.254.
    # Apart: u² = 13.33 + 23.04 + 12.96 = 49.33, dof 50, g = 2.234 · 7.024 = 15.7 > 15.
    # t² = 4.034: a = 213.8, b = 900, q = 3501.7: 3501.7/(900 + 247.6) = 3.051.
    together = contrast()
    assert together.verdict is Verdict.MEETS
    assert together.interval_low == pytest.approx(3.254, abs=0.001)
    for apart in (
        contrast(instrument=8),
        contrast(instrument=None),
        contrast(taken_at=DAY - timedelta(days=1), visit=2),
    ):
        assert apart.verdict is Verdict.UNDECIDED
        assert apart.interval_low == pytest.approx(3.051, abs=0.001)
    assert "is too near 3:1 (95 % interval " in contrast(instrument=8).reason


def test_a_red_that_is_not_clear_of_nought_leaves_a_guarded_contrast_undecided():
    sets = [read("white", "60"), read("red", "0")]
    guarded = element(assess_face(STOP, sets, GUARDED), "white/red")
    assert (guarded.verdict, guarded.value, guarded.interval_high) == (
        Verdict.UNDECIDED,
        None,
        None,
    )
    assert "the red reads 0, so the ratio has no upper bound" in guarded.reason
    assert element(assess_face(STOP, sets, SIMPLE), "white/red").verdict is Verdict.MEETS


def test_a_reading_that_stands_out_is_flagged_and_counts_in_the_mean():
    white = element(
        assess_face(STOP, [read("white", "50", "51", "50.5", "49.5", "80")], SIMPLE), "white"
    )
    assert white.value == Decimal("56.2")
    assert white.flags == (
        "Reading 80 stands out of the others and counts in the mean; look at that place again.",
    )


def test_a_dirty_face_that_is_undecided_asks_for_cleaning_and_a_second_reading():
    dirty = {"surface_state": SurfaceState.DIRTY}
    white = element(assess_face(STOP, [read("white", "36", **dirty)], GUARDED), "white")
    assert white.verdict is Verdict.UNDECIDED
    assert white.flags == ("The face was dirty: clean it and read it again.",)


def test_the_probability_of_the_sign_is_bounded_by_its_elements():
    result = assess_face(STOP, [read("white", *WHITE), read("red", "7.2")], SIMPLE)
    known = [each.probability for each in result.elements]
    assert all(each is not None for each in known)
    # By hand: Boole and Fréchet, as docs/methods/uncertainty.md has it.
    low = max(0, 1 - sum(1 - each for each in known if each is not None))
    assert result.probability_low == pytest.approx(low, abs=1e-12)
    assert result.probability_high == min(each for each in known if each is not None)


def test_anything_is_possible_for_a_colour_that_was_not_read():
    result = assess_face(STOP, [read("white", *WHITE)], SIMPLE)
    assert result.verdict is Verdict.NO_USABLE_READING
    assert result.probability_low == 0
    assert result.probability_high == element(result, "white").probability
    nothing = assess_face(STOP, [], SIMPLE)
    assert (nothing.probability_low, nothing.probability_high) == (None, None)


def test_sheeting_that_is_not_allowed_cannot_be_met():
    face = catalogued("W1-2", areas=two_colors(Color.YELLOW, Color.BLACK, ("I", Optics.BEADED)))
    result = assess_face(face, [read("yellow", "90")], SIMPLE)
    assert element(result, "yellow").probability is None
    assert (result.probability_low, result.probability_high) == (None, None)

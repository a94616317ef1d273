"""The colours of a sign put together: which governs, when it is due, and in which words."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.forecast.sign_due import (
    LONGEST_SENTENCE,
    Basis,
    ColourDue,
    End,
    FadeDue,
    Missing,
    day_after,
    sign_due,
    years_to_year_end,
)
from inventory.errors import OutOfRangeError

TODAY = date(2026, 6, 1)
WHITE = ColourDue(
    "white", Basis.OWN_READINGS, 120.0, 178.0, 150.0, 211.0, (0.1, 0.2, 0.4), 5.0, 2.0, 10.0
)
RED = replace(WHITE, color="red", level_cd_lx_m2=7.0, due_years=7.0, ra_cd_lx_m2=9.26)


def test_the_colour_that_is_due_first_governs():
    found = sign_due([RED, WHITE], today=TODAY)
    assert (found.color, found.end, found.basis) == ("white", End.LEVEL, Basis.OWN_READINGS)
    assert found.due_on == date(2031, 6, 1)
    assert (found.due_early_on, found.due_late_on) == (date(2028, 5, 31), date(2036, 5, 31))
    assert found.probability_below == 0.1
    assert found.sentence == (
        "Due about June 2031 (90 % of such signs between 2028 and 2036): white falls below "
        "120 cd/lx/m², from its own readings and its cohort; now about 178 (90 % between 150 "
        "and 211)."
    )


def test_the_whole_sign_is_as_likely_below_as_its_likeliest_colour_at_each_year_end():
    red = replace(RED, probabilities_below=(0.0, 0.3, 0.35))
    assert sign_due([WHITE, red], today=TODAY).probabilities_below == (0.3, 0.4)


def test_a_fade_that_comes_first_is_the_end_and_says_what_it_rests_on():
    fade = FadeDue(3.0, 1.0, 6.0, Basis.AGENCY_LIFE, "red kept its colour for 10 years")
    found = sign_due([WHITE, replace(RED, fade=fade)], today=TODAY)
    assert (found.end, found.color, found.basis) == (End.FADE, "red", Basis.AGENCY_LIFE)
    assert found.sentence == (
        "Due about June 2029 (90 % of such signs between 2027 and 2032): red fades, red kept "
        "its colour for 10 years."
    )


def test_beyond_the_ages_read_is_marked():
    found = sign_due([replace(WHITE, is_extrapolated=True)], today=TODAY)
    assert found.is_extrapolated
    assert found.sentence.endswith("Beyond the ages read so far.")


def test_not_within_30_years_is_an_answer_with_its_governing_colour():
    never: dict[str, Any] = {"due_years": math.inf, "late_years": math.inf}
    red = replace(RED, **never, early_years=math.inf)
    found = sign_due([red, replace(WHITE, **never)], today=TODAY)
    assert (found.color, found.due_on, found.due_late_on) == ("red", None, None)
    assert found.due_early_on is None
    assert found.basis is Basis.OWN_READINGS
    assert found.sentence.startswith("Not due within 30 years: red stays above 7 cd/lx/m² for")


def test_a_late_end_beyond_30_years_is_said_and_left_open():
    found = sign_due([replace(WHITE, late_years=math.inf)], today=TODAY)
    assert found.due_late_on is None
    assert "(5 % of such signs before 2028, some not within 30 years)" in found.sentence


def test_a_sign_that_is_due_now_says_how_probable_it_is_below():
    now = replace(WHITE, due_years=0.0, early_years=0.0, probabilities_below=(0.64, 0.7, 0.8))
    found = sign_due([now], today=TODAY)
    assert found.due_on == TODAY
    assert found.sentence.startswith(
        "Due now: white is below 120 cd/lx/m² with a probability of 64 %, from its own"
    )


def test_an_expected_life_has_a_due_date_without_an_interval_even_in_the_past():
    life = ColourDue(
        "white",
        Basis.AGENCY_LIFE,
        120.0,
        due_years=-2.0,
        life_words="by the agency's expected life of 10 years (an invented trial).",
    )
    found = sign_due([life], today=TODAY)
    assert found.due_on == date(2024, 6, 1)
    assert (found.due_early_on, found.probability_below) == (None, None)
    assert found.sentence == (
        "Due since about June 2024, by the agency's expected life of 10 years (an invented "
        "trial)."
    )


def test_a_colour_without_a_level_has_r_a_now_and_no_due_date():
    found = sign_due([replace(WHITE, level_cd_lx_m2=None, due_years=None)], today=TODAY)
    assert (found.due_on, found.end, found.color) == (None, None, "white")
    assert found.sentence == (
        "No level on record for white, so no due date. R_A now about 178 (90 % between 150 and "
        "211), from its own readings and its cohort."
    )


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        (
            Missing.AGE_AND_READING,
            "No reading and no known age: nothing to go by. Read it once.",
        ),
        (Missing.COHORT, "no expected life on record"),
        (Missing.COHORT_OF_KNOWN_AGE, "nothing tells how fast it falls"),
    ],
)
def test_nothing_to_go_by_says_what_is_missing_and_what_to_do(missing, words):
    found = sign_due([ColourDue("white", Basis.NONE, 120.0, missing=missing)], today=TODAY)
    assert (found.basis, found.color, found.due_on) == (Basis.NONE, "", None)
    assert words in found.sentence


def test_a_sign_of_unknown_colours_says_so():
    assert "colours are not on record" in sign_due([], today=TODAY).sentence


def test_colours_told_for_different_years_are_refused():
    with pytest.raises(OutOfRangeError, match="different years"):
        sign_due([WHITE, replace(RED, probabilities_below=(0.1,))], today=TODAY)


def test_a_colour_with_nothing_to_go_by_is_named_beside_the_one_that_governs():
    bare = ColourDue("fluorescent-yellow", Basis.NONE, None, missing=Missing.COHORT)
    found = sign_due([WHITE, bare], today=TODAY)
    assert found.sentence.endswith("Nothing to go by for fluorescent yellow.")


def test_the_last_day_of_a_year_is_still_before_its_end():
    assert 0 < years_to_year_end(date(2026, 12, 31)) < 0.01
    assert years_to_year_end(date(2028, 1, 1)) == 1.0
    assert day_after(TODAY, None) is None


figures = st.floats(0.0, 30.0) | st.just(math.inf)


@given(
    due=st.lists(figures, min_size=3, max_size=3).map(sorted),
    words=st.text(max_size=600),
    fades=st.floats(-10.0, 30.0),
)
def test_every_sentence_fits_its_column_and_dates_stand_in_order(due, words, fades):
    early, middle, late = due
    colour = replace(
        WHITE,
        early_years=early,
        due_years=middle,
        late_years=late,
        fade=FadeDue(fades, words=words),
        is_extrapolated=True,
    )
    bare = [ColourDue(f"colour-{k}" * 4, Basis.NONE, missing=Missing.COHORT) for k in range(5)]
    found = sign_due([colour, *bare], today=TODAY)
    assert 0 < len(found.sentence) <= LONGEST_SENTENCE
    if found.end is End.LEVEL and found.due_on and found.due_early_on:
        assert found.due_early_on <= found.due_on

"""
Minimums of new sheeting.

Figures at 0.2 and -4 degrees typed for this test from an unofficial page quoting ASTM D4956-01,
in the order white, yellow, orange, green, red, blue, brown.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.new_sheeting import new_sheeting_minimum, new_sheeting_rows
from inventory.engineering.standards.vocabulary import Checked, Color, SheetingType
from inventory.errors import NoPublishedValueError, OutOfRangeError

COLORS = [
    Color.WHITE,
    Color.YELLOW,
    Color.ORANGE,
    Color.GREEN,
    Color.RED,
    Color.BLUE,
    Color.BROWN,
]
D4956_01 = {
    "I": "70 50 25 9.0 14 4.0 1.0",
    "II": "140 100 60 30 30 10 5.0",
    "III": "250 170 100 45 45 20 12",
}


@pytest.mark.parametrize("sheeting_type", D4956_01)
def test_new_sheeting_at_the_geometry_of_the_levels(sheeting_type):
    for color, figure in zip(COLORS, D4956_01[sheeting_type].split(), strict=True):
        row = new_sheeting_minimum(sheeting_type, color, 0.2, -4)
        assert str(row.minimum_ra_cd_lx_m2) == figure
        assert row.checked is Checked.YES


def test_other_geometries_are_other_figures():
    assert (
        new_sheeting_minimum("Type III", Color.WHITE, Decimal("0.5"), -4.0).minimum_ra_cd_lx_m2
        == 95
    )
    assert new_sheeting_minimum("i", Color.RED, Decimal("0.2"), 30).minimum_ra_cd_lx_m2 == 6


@pytest.mark.parametrize("sheeting_type", ["IV", "VIII", "IX", "XI"])
def test_recalled_figures_stay_marked(sheeting_type):
    row = new_sheeting_minimum(sheeting_type, Color.WHITE, 0.2, -4)
    assert row.checked is Checked.NO
    assert "recalled" in row.source


def test_what_was_not_reached_is_said():
    with pytest.raises(NoPublishedValueError, match="no table of Type VII was reached"):
        new_sheeting_minimum("VII", Color.WHITE, 0.2, -4)
    with pytest.raises(NoPublishedValueError, match="no row for purple Type I was reached"):
        new_sheeting_minimum("I", Color.PURPLE, 0.2, -4)
    with pytest.raises(NoPublishedValueError, match=r"0.33°/-4° is not among those .*0.2°/-4°"):
        new_sheeting_minimum("I", Color.WHITE, 0.33, -4)
    with pytest.raises(OutOfRangeError, match="observation angle"):
        new_sheeting_minimum("I", Color.WHITE, float("nan"), -4)


def test_an_agencys_own_grade_is_kept_apart_from_the_types():
    own = [row for row in new_sheeting_rows() if row.sheeting_type is None]
    assert len(own) == 4
    assert {row.color for row in own} == {Color.FLUORESCENT_YELLOW_GREEN}
    assert all("agency rule" in row.agency_grade for row in own)


@given(
    st.sampled_from(SheetingType),
    st.sampled_from(Color),
    st.sampled_from([0.1, 0.2, 0.33, 0.5, 1.0]),
    st.sampled_from([-4, 30, 40]),
)
def test_a_figure_is_found_or_refused_with_a_sentence(
    sheeting_type, color, observation, entrance
):
    try:
        row = new_sheeting_minimum(sheeting_type, color, observation, entrance)
    except NoPublishedValueError as error:
        sentence = str(error)
    else:
        sentence = f"{row.source}."
        assert (row.sheeting_type, row.color) == (sheeting_type, color)
        assert row.minimum_ra_cd_lx_m2 > 0
    assert len(sentence) > 20
    assert sentence.endswith(".")


def test_looking_from_further_off_never_needs_more():
    # A larger angle sends back less light: no printed figure rises with either angle.
    by_key = {
        (row.sheeting_type, row.color, row.observation_angle_deg, row.entrance_angle_deg): row
        for row in new_sheeting_rows()
    }
    for (kind, color, observation, entrance), row in by_key.items():
        for (kind2, color2, observation2, entrance2), other in by_key.items():
            if (kind, color) == (kind2, color2) and (
                observation <= observation2 and abs(entrance) <= abs(entrance2)
            ):
                assert other.minimum_ra_cd_lx_m2 <= row.minimum_ra_cd_lx_m2

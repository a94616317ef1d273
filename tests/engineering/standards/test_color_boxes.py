"""
Colour boxes of 23 CFR 655 Subpart F; every figure is recalled, so only geometry can be checked.

The CIE 1931 spectrum locus points used here are of CIE 015 (tabulated x, y at 10 nm, rounded to
four decimals, from memory of the table).
"""

from decimal import Decimal

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.color_boxes import (
    chromaticity_corners,
    color_box,
    luminance_factor_limits,
    luminance_factor_rows,
)
from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    LightCondition,
    SheetingType,
)
from inventory.errors import NoPublishedValueError

BOXES = sorted({(row.color, row.condition) for row in chromaticity_corners()})
# Wavelength 380 to 700 nm; the purple line closes the outline.
LOCUS = [
    (0.1741, 0.0050), (0.1738, 0.0049), (0.1733, 0.0048), (0.1726, 0.0048), (0.1714, 0.0051),
    (0.1689, 0.0069), (0.1644, 0.0109), (0.1566, 0.0177), (0.1440, 0.0297), (0.1241, 0.0578),
    (0.0913, 0.1327), (0.0454, 0.2950), (0.0082, 0.5384), (0.0139, 0.7502), (0.0743, 0.8338),
    (0.1547, 0.8059), (0.2296, 0.7543), (0.3016, 0.6923), (0.3731, 0.6245), (0.4441, 0.5547),
    (0.5125, 0.4866), (0.5752, 0.4242), (0.6270, 0.3725), (0.6658, 0.3340), (0.6915, 0.3083),
    (0.7079, 0.2920), (0.7190, 0.2809), (0.7260, 0.2740), (0.7300, 0.2700), (0.7320, 0.2680),
    (0.7334, 0.2666), (0.7344, 0.2656), (0.7347, 0.2653),
]  # fmt: skip


@pytest.mark.parametrize(("color", "condition"), BOXES)
def test_a_box_has_four_corners_is_convex_and_holds_real_colours(color, condition):
    box = color_box(color, condition)
    assert [row.corner for row in box] == [1, 2, 3, 4]
    outline = shapely.Polygon(
        [(float(row.chromaticity_x), float(row.chromaticity_y)) for row in box]
    )
    assert outline.is_valid
    assert outline.area == pytest.approx(outline.convex_hull.area, rel=1e-9)
    # 0.006: the reference set states 0.004 beyond the finely tabulated boundary, and the 10 nm
    # chords used here cut off up to 0.002 more.
    assert shapely.Polygon(LOCUS).convex_hull.buffer(0.006).covers(outline)


def test_every_colour_figure_is_marked_as_from_memory():
    rows = [*chromaticity_corners(), *luminance_factor_rows()]
    assert len(rows) == 140
    assert {row.checked for row in rows} == {Checked.NO}


def test_luminance_limits_go_by_sheeting_type_except_for_fluorescent_colours():
    assert luminance_factor_limits(Color.RED, "VIII").max_percent == 15
    assert luminance_factor_limits(Color.RED, "III").min_percent == Decimal("2.5")
    assert luminance_factor_limits(Color.RED, "IV").min_percent == Decimal("3.0")
    for sheeting_type in SheetingType:
        row = luminance_factor_limits(Color.FLUORESCENT_ORANGE, sheeting_type)
        assert row.min_fluorescent_percent == 15


def test_what_was_left_out_is_said():
    with pytest.raises(NoPublishedValueError, match="fluorescent pink, daytime"):
        color_box(Color.FLUORESCENT_PINK, LightCondition.DAYTIME)
    with pytest.raises(NoPublishedValueError, match="light blue, nighttime"):
        color_box(Color.LIGHT_BLUE, LightCondition.NIGHTTIME)
    with pytest.raises(NoPublishedValueError, match="white Type XI"):
        luminance_factor_limits(Color.WHITE, "XI")


@given(st.sampled_from(Color), st.sampled_from(LightCondition), st.sampled_from(SheetingType))
def test_colour_limits_are_found_or_refused_with_a_sentence(color, condition, sheeting_type):
    for look_up, argument in ((color_box, condition), (luminance_factor_limits, sheeting_type)):
        try:
            found = bool(look_up(color, argument))
        except NoPublishedValueError as error:
            found = str(error).endswith(".")
        assert found


@pytest.mark.parametrize("row", luminance_factor_rows(), ids=lambda row: row.row_id)
def test_a_lower_limit_lies_below_the_upper(row):
    assert row.min_percent is not None
    assert 0 < row.min_percent < (row.max_percent or 100)

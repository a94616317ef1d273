"""
Minimum maintained levels, every figure against a table typed for this test.

Typed in the printed layout of MUTCD 11th edition (2023) Table 2A-5 (public transcriptions), and
of the FHWA memorandum of 5 April 2012 for blue and brown. The 2009 edition's Table 2A-3 has
the same figures without blue and brown (from memory, as its rows say). ``None`` is the
asterisk: the sheeting may not be used for that colour.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.bold_symbols import find_symbol_class
from inventory.engineering.standards.catalogue import find_sign_type
from inventory.engineering.standards.levels import (
    dividing_size_in,
    level_rows,
    minimum_levels,
    required_minimum,
    size_criteria,
)
from inventory.engineering.standards.placement import find_placement
from inventory.engineering.standards.special_cases import criterion_dimension_in
from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    Edition,
    MountClass,
    SheetingClass,
    SignColors,
    SizeCriterion,
    SymbolClass,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError

I, II, III, PRISMATIC = SheetingClass  # noqa: E741 - the columns as printed
ANY, LARGE, SMALL = SizeCriterion
POST, OVERHEAD = MountClass

# (pair, mount, criterion): one (legend, background) or (background,) under each column, in the
# printed order beaded I, beaded II, beaded III, prismatic.
PrintedTable = dict[tuple[str, MountClass | None, SizeCriterion], list[tuple[int | None, ...]]]
GREEN: PrintedTable = {
    ("white-on-green", OVERHEAD, ANY): [(None, 7), (None, 15), (None, 25), (250, 25)],
    ("white-on-green", POST, ANY): [(None, 7), (120, 15), (120, 15), (120, 15)],
}
BLUE_AND_BROWN: PrintedTable = {
    ("white-on-blue", OVERHEAD, ANY): [(None, 3), (None, 5), (None, 12), (250, 12)],
    ("white-on-blue", POST, ANY): [(None, 3), (120, 7), (120, 7), (120, 7)],
    ("white-on-brown", OVERHEAD, ANY): [(None, 1), (None, 5), (None, 10), (350, 10)],
    ("white-on-brown", POST, ANY): [(None, 1), (150, 5), (150, 5), (150, 5)],
}
OTHERS: PrintedTable = {
    ("black-on-yellow", None, LARGE): [(None,), (50,), (50,), (50,)],
    ("black-on-yellow", None, SMALL): [(None,), (75,), (75,), (75,)],
    ("black-on-orange", None, LARGE): [(None,), (50,), (50,), (50,)],
    ("black-on-orange", None, SMALL): [(None,), (75,), (75,), (75,)],
    ("white-on-red", None, ANY): [(35, 7), (35, 7), (35, 7), (35, 7)],
    ("black-on-white", None, ANY): [(50,), (50,), (50,), (50,)],
}
PRINTED: dict[Edition, PrintedTable] = {
    Edition.MUTCD_2009: GREEN | OTHERS,
    Edition.MUTCD_11: GREEN | BLUE_AND_BROWN | OTHERS,
    Edition.MUTCD_2009_RECOMMENDED: BLUE_AND_BROWN,
}


def printed_cells(edition):
    """Return the printed table as a mapping of cell to figure."""
    cells = {}
    for (pair, mount, criterion), columns in PRINTED[edition].items():
        legend, background = pair.split("-on-")
        colors = (legend, background) if legend == "white" else (background,)
        for sheeting, figures in zip(SheetingClass, columns, strict=True):
            for color, figure in zip(colors, figures, strict=True):
                cells[pair, mount, criterion, sheeting, color] = figure
    return cells


@pytest.mark.parametrize("edition", Edition)
def test_every_printed_cell_is_in_the_table_and_no_other(edition):
    rows = {
        (
            row.sign_colors.value,
            row.mount,
            row.criterion,
            row.sheeting_class,
            row.color.value,
        ): row
        for row in level_rows(edition)
    }
    expected = printed_cells(edition)
    assert rows.keys() == expected.keys()
    assert len(rows) == len(level_rows(edition))
    for key, row in rows.items():
        figure = expected[key]
        assert row.minimum_ra_cd_lx_m2 == figure, key
        assert row.is_prohibited == (figure is None), key
        # Table 2A-5 note 4: the white to red ratio of white-on-red signs is at least 3:1.
        ratio = Decimal("3.0") if key[0] == "white-on-red" else None
        assert row.min_contrast_ratio == ratio, key


def test_the_2009_figures_are_marked_as_not_read_in_their_own_edition():
    assert {row.checked for row in level_rows(Edition.MUTCD_2009)} == {Checked.PARTIAL}
    assert {row.checked for row in level_rows(Edition.MUTCD_11)} == {Checked.YES}
    assert not any(row.is_verified for row in level_rows(Edition.MUTCD_2009))


def levels_of(edition, code, *, mount=POST, sheeting=PRISMATIC, width=None, height=None):
    """Return the levels of a catalogued sign in its own colours."""
    sign_type = find_sign_type(code)[0]
    return minimum_levels(
        edition,
        find_placement(None, None, sign_type),
        mount=mount,
        sheeting_classes=[sheeting],
        symbol_class=find_symbol_class(edition, sign_type).symbol_class,
        dimension_in=criterion_dimension_in(edition, sign_type.shape, width, height),
    )


def figures(rows):
    return [(row.color.value, row.minimum_ra_cd_lx_m2) for row in rows]


@pytest.mark.parametrize("edition", [Edition.MUTCD_2009, Edition.MUTCD_11])
class TestWorkedValues:
    """Table 2A-5 of the 11th edition and its notes 2, 3 and 4; 2009 alike, from memory."""

    def test_a_30_inch_curve_sign_has_a_bold_symbol_and_needs_50(self, edition):
        assert figures(levels_of(edition, "W1-2", width=30, height=30)) == [("yellow", 50)]

    def test_a_30_inch_text_warning_sign_needs_75(self, edition):
        assert figures(levels_of(edition, "W8-1", width=30, height=30)) == [("yellow", 75)]

    @pytest.mark.parametrize(("size", "minimum"), [(47, 75), ("47.99", 75), (48, 50), (60, 50)])
    def test_a_text_warning_sign_is_large_from_48_inches_on(self, edition, size, minimum):
        size = Decimal(size)
        assert figures(levels_of(edition, "W8-1", width=size, height=size)) == [
            ("yellow", minimum)
        ]

    @pytest.mark.parametrize("sheeting", SheetingClass)
    def test_a_stop_sign_needs_35_and_7_at_three_to_one_on_any_sheeting(
        self, edition, sheeting
    ):
        rows = levels_of(edition, "R1-1", sheeting=sheeting)
        assert figures(rows) == [("white", 35), ("red", 7)]
        assert {row.min_contrast_ratio for row in rows} == {Decimal(3)}

    def test_a_prismatic_overhead_guide_sign_needs_250_and_25(self, edition):
        assert figures(levels_of(edition, "D1-1", mount=OVERHEAD)) == [
            ("white", 250),
            ("green", 25),
        ]

    def test_a_prismatic_post_guide_sign_needs_120_and_15(self, edition):
        assert figures(levels_of(edition, "D1-1")) == [("white", 120), ("green", 15)]

    def test_a_white_legend_of_type_i_may_not_be_used_on_green(self, edition):
        white, green = levels_of(edition, "D1-1", sheeting=I)
        assert white.is_prohibited
        with pytest.raises(
            NoPublishedValueError, match="Beaded Type I sheeting may not be used"
        ):
            required_minimum(white)
        assert required_minimum(green) == 7

    def test_unknown_mount_leaves_the_rows_of_both(self, edition):
        rows = levels_of(edition, "D1-1", mount=None)
        assert {row.mount for row in rows} == {POST, OVERHEAD}
        assert {row.minimum_ra_cd_lx_m2 for row in rows} == {250, 25, 120, 15}

    def test_unknown_size_leaves_both_size_rows(self, edition):
        assert figures(levels_of(edition, "W8-1")) == [("yellow", 50), ("yellow", 75)]


def test_the_2009_edition_binds_no_blue_or_brown_and_says_who_recommends():
    for code in ("D9-2", "RS-006"):
        with pytest.raises(NoPublishedValueError, match=r"no binding level.*5 April 2012"):
            levels_of(Edition.MUTCD_2009, code)
    # FHWA memorandum of 5 April 2012, post-mounted prismatic: white 120, blue 7.
    assert figures(levels_of(Edition.MUTCD_2009_RECOMMENDED, "D9-2")) == [
        ("white", 120),
        ("blue", 7),
    ]


def test_the_recommendation_covers_blue_and_brown_only():
    with pytest.raises(NoPublishedValueError, match="white on blue and white on brown only"):
        levels_of(Edition.MUTCD_2009_RECOMMENDED, "R1-1")


def test_a_level_names_the_cell_it_was_read_from():
    row = levels_of(Edition.MUTCD_11, "R1-1")[0]
    assert row.table_id == "mutcd-11-2a-5"
    assert row.row_id == "white-on-red/any/any/prismatic/white"
    assert "Table 2A-5" in row.source


@pytest.mark.parametrize("dimension", [0, -30, float("nan"), Decimal("Infinity")])
def test_an_impossible_size_is_refused(dimension):
    with pytest.raises(OutOfRangeError):
        size_criteria(Edition.MUTCD_11, SymbolClass.TEXT, dimension)


def test_naming_no_sheeting_column_is_refused():
    with pytest.raises(OutOfRangeError, match="all four columns"):
        minimum_levels(
            Edition.MUTCD_11, SignColors.WHITE_ON_RED, mount=None, sheeting_classes=[]
        )


def test_both_manuals_divide_at_48_inches():
    assert {dividing_size_in(edition) for edition in Edition} == {48}


@given(
    edition=st.sampled_from(Edition),
    sign_colors=st.sampled_from(SignColors),
    mount=st.sampled_from([None, *MountClass]),
    classes=st.sets(st.sampled_from(SheetingClass), min_size=1),
    symbol_class=st.sampled_from([None, *SymbolClass]),
    dimension=st.none() | st.decimals(min_value=1, max_value=200, places=1),
)
def test_levels_are_never_silently_missing(
    edition, sign_colors, mount, classes, symbol_class, dimension
):
    try:
        rows = minimum_levels(
            edition,
            sign_colors,
            mount=mount,
            sheeting_classes=classes,
            symbol_class=symbol_class,
            dimension_in=dimension,
        )
    except NoPublishedValueError:
        assert all(row.sign_colors is not sign_colors for row in level_rows(edition))
        return
    assert {row.sheeting_class for row in rows} == classes
    background = Color(sign_colors.value.split("-on-")[1])
    assert background in {row.color for row in rows}
    for row in rows:
        if row.is_prohibited:
            with pytest.raises(NoPublishedValueError, match="may not be used"):
                required_minimum(row)
        else:
            assert required_minimum(row) > 0


@given(
    dimension=st.decimals(min_value=1, max_value=200, places=1),
    symbol_class=st.sampled_from(SymbolClass),
)
def test_knowing_less_never_hides_a_row(dimension, symbol_class):
    known = set(size_criteria(Edition.MUTCD_11, symbol_class, dimension))
    assert known <= set(size_criteria(Edition.MUTCD_11, None, dimension))
    assert known <= set(size_criteria(Edition.MUTCD_11, symbol_class, None)) | {LARGE}

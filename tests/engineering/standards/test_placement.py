"""
Which row of the level tables a face falls under.

Pairs as printed in the sign colour column of MUTCD 11th edition Table 2A-5; that fluorescent
yellow-green, pink, purple and yellow on blue have no row was read in both transcriptions.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.catalogue import RetroRow, find_sign_type, sign_types
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.placement import find_placement
from inventory.engineering.standards.vocabulary import Checked, Color, Series, SignColors
from inventory.errors import NoPublishedValueError


@pytest.mark.parametrize("sign_colors", SignColors)
def test_a_printed_pair_falls_under_its_own_row(sign_colors):
    legend, background = (Color(each) for each in sign_colors.value.split("-on-"))
    placement = find_placement(background, legend)
    assert placement.sign_colors is sign_colors
    assert placement.checked is Checked.YES


@pytest.mark.parametrize(
    ("code", "sign_colors", "checked"),
    [
        ("R1-1", SignColors.WHITE_ON_RED, Checked.YES),
        ("R1-2", SignColors.WHITE_ON_RED, Checked.NO),  # inference of the catalogue
        ("R5-1", SignColors.WHITE_ON_RED, Checked.YES),
        ("R2-1", SignColors.BLACK_ON_WHITE, Checked.YES),
        ("R6-1", SignColors.BLACK_ON_WHITE, Checked.NO),  # white on black: inference
        ("W1-2", SignColors.BLACK_ON_YELLOW, Checked.YES),
        ("W20-1", SignColors.BLACK_ON_ORANGE, Checked.YES),
        ("D9-2", SignColors.WHITE_ON_BLUE, Checked.YES),
    ],
)
def test_a_catalogued_sign_falls_where_the_catalogue_files_it(code, sign_colors, checked):
    placement = find_placement(None, None, find_sign_type(code)[0])
    assert (placement.sign_colors, placement.checked) == (sign_colors, checked)


def test_the_colours_of_the_face_come_before_those_of_its_type():
    curve = find_sign_type("W1-2")[0]
    assert find_placement(Color.ORANGE, None, curve).sign_colors is SignColors.BLACK_ON_ORANGE
    crossing = find_sign_type("W11-2")[0]
    with pytest.raises(NoPublishedValueError, match=r"W11-2: .*fluorescent yellow-green"):
        find_placement(Color.FLUORESCENT_YELLOW_GREEN, None, crossing)


@pytest.mark.parametrize(
    ("background", "sign_colors"),
    [
        (Color.FLUORESCENT_YELLOW, SignColors.BLACK_ON_YELLOW),
        (Color.FLUORESCENT_ORANGE, SignColors.BLACK_ON_ORANGE),
    ],
)
def test_a_fluorescent_face_takes_the_plain_row_marked_as_from_memory(background, sign_colors):
    placement = find_placement(background, Color.BLACK)
    assert placement.sign_colors is sign_colors
    assert placement.checked is Checked.NO


@pytest.mark.parametrize(
    ("background", "legend", "reason"),
    [
        (Color.FLUORESCENT_YELLOW_GREEN, Color.BLACK, "no row for fluorescent yellow-green"),
        (Color.FLUORESCENT_PINK, Color.BLACK, "no row for pink"),
        (Color.PURPLE, Color.WHITE, "no row for purple"),
        (Color.BLUE, Color.YELLOW, "no row for a yellow legend on blue"),
        (Color.WHITE, Color.GREEN, "no row for green on white"),
    ],
)
def test_a_pair_without_a_row_is_said_and_not_guessed(background, legend, reason):
    with pytest.raises(NoPublishedValueError, match=reason):
        find_placement(background, legend)


@pytest.mark.parametrize("code", ["S1-1", "R7-1", "M1-6", "R3-2a"])
def test_a_catalogued_sign_without_a_row_is_said_by_code(code):
    with pytest.raises(NoPublishedValueError, match=f"{code}: No level is published"):
        find_placement(None, None, find_sign_type(code)[0])


@pytest.mark.parametrize("background", [None, Color.FLUORESCENT_YELLOW, Color.YELLOW])
def test_an_object_marker_has_no_row_whatever_its_yellow(background):
    with pytest.raises(NoPublishedValueError, match="object markers"):
        find_placement(background, Color.BLACK, find_sign_type("OM3-L")[0])


def test_unknown_colours_are_asked_for():
    with pytest.raises(NoPublishedValueError, match="The background and legend colour"):
        find_placement(None, None)
    with pytest.raises(NoPublishedValueError, match="The legend colour of this face"):
        find_placement(Color.GREEN, None)
    unverified = next(each for each in sign_types() if each.background is None)
    with pytest.raises(NoPublishedValueError, match=f"gives none for {unverified.code}"):
        find_placement(None, None, unverified)


def test_a_sign_of_the_agencys_own_goes_by_its_colours():
    own = local_sign_type(
        code="X-1",
        name="Invented",
        series=Series.GUIDE,
        background=Color.BROWN,
        legend=Color.WHITE,
    )
    assert find_placement(None, None, own).sign_colors is SignColors.WHITE_ON_BROWN
    red_on_white = replace(own, background=Color.WHITE, legend=Color.RED)
    with pytest.raises(NoPublishedValueError, match="red on white"):
        find_placement(None, None, red_on_white)


@pytest.mark.parametrize("sign_type", sign_types(), ids=lambda each: each.code)
def test_every_catalogued_sign_falls_under_the_row_its_file_names_or_none(sign_type):
    try:
        placement = find_placement(None, None, sign_type)
    except NoPublishedValueError:
        assert sign_type.retro_row is RetroRow.NO_ROW
        return
    assert sign_type.retro_row is not None
    filed = sign_type.retro_row.value
    assert placement.sign_colors.value == filed.replace(
        "yellow-or-orange", str(sign_type.background)
    )


@given(st.sampled_from([None, *Color]), st.sampled_from([None, *Color]))
def test_a_face_is_placed_or_refused_with_a_sentence(background, legend):
    try:
        placement = find_placement(background, legend)
    except NoPublishedValueError as error:
        sentence = str(error)
    else:
        sentence = f"{placement.source}: {placement.verification}."
    assert len(sentence) > 20
    assert sentence.endswith(".")

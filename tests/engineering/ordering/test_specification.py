import pytest

from inventory.engineering.ordering.specification import wanted_colors, wanted_size
from inventory.engineering.standards.catalogue import find_sign_type, sign_types
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import Color, RoadClass, Series
from inventory.errors import NoPublishedValueError


def sign_type(code: str):
    return find_sign_type(code)[0]


def own_type(**fields):
    return local_sign_type(code="TR-7", name="Trail Head", series=Series.GUIDE, **fields)


@pytest.mark.parametrize(
    ("code", "road_class", "width_in", "height_in", "table"),
    [
        # MUTCD 11th edition (2023) Table 2C-1 and Table 2B-1, as transcribed.
        ("W1-2", RoadClass.CONVENTIONAL_SINGLE_LANE, 30, 30, "table 2C-1"),
        ("W1-2", RoadClass.EXPRESSWAY, 36, 36, "table 2C-1"),
        ("R1-2", RoadClass.FREEWAY, 60, 60, "table 2B-1"),
    ],
)
def test_the_size_is_the_one_printed_for_the_class_of_road(
    code, road_class, width_in, height_in, table
):
    size = wanted_size(None, None, sign_type(code), road_class)
    assert (size.width_in, size.height_in) == (width_in, height_in)
    assert road_class.words in size.basis
    assert table in size.basis
    assert size.checked is sign_type(code).checked


def test_a_size_that_was_not_checked_is_marked():
    assert "unverified" in wanted_size(None, None, sign_type("R1-2"), RoadClass.FREEWAY).basis


def test_the_positions_own_size_comes_first():
    size = wanted_size(24, 18, sign_type("W1-2"), RoadClass.FREEWAY)
    assert (size.width_in, size.height_in, size.basis) == (24, 18, "the position's own size")


def test_half_a_size_is_no_size():
    size = wanted_size(24, None, sign_type("W1-2"), RoadClass.EXPRESSWAY)
    assert (size.width_in, size.height_in) == (36.0, 36.0)


def test_a_size_that_depends_on_an_unknown_road_is_refused_with_the_choices():
    with pytest.raises(
        NoPublishedValueError,
        match="W1-2 depends on the road \\(30 × 30 in on a conventional single-lane road",
    ):
        wanted_size(None, None, sign_type("W1-2"), None)


def test_one_size_for_every_road_needs_no_road():
    # S1-1 is 36 × 36 on both kinds of conventional road, and printed for no other (MUTCD 11th
    # edition Table 7B-1).
    size = wanted_size(None, None, sign_type("S1-1"), None)
    assert (size.width_in, size.height_in) == (36.0, 36.0)


def test_a_size_printed_for_no_road_is_refused():
    sizeless = next(
        each
        for each in sign_types()
        if not any((each.conventional, each.multi_lane, each.expressway, each.freeway))
    )
    with pytest.raises(NoPublishedValueError, match="an engineer has to set it"):
        wanted_size(None, None, sizeless, None)
    with pytest.raises(NoPublishedValueError, match="an engineer has to set it"):
        wanted_size(None, None, sign_type("S1-1"), RoadClass.FREEWAY)


def test_a_width_that_varies_with_the_legend_is_refused():
    with pytest.raises(NoPublishedValueError, match="D1-1 varies with its legend"):
        wanted_size(None, None, sign_type("D1-1"), RoadClass.CONVENTIONAL_SINGLE_LANE)


def test_an_agencys_own_type_has_the_agencys_size():
    size = wanted_size(None, None, own_type(width_in=18, height_in=24), None)
    assert (size.width_in, size.height_in) == (18.0, 24.0)
    assert "the agency's own type" in size.basis


def test_the_catalogues_colours_hold_when_nothing_is_known_of_the_old_face():
    colors = wanted_colors(sign_type("W3-2"), None, None)
    assert (colors.background, colors.legend) == (Color.YELLOW, Color.BLACK)
    assert colors.secondary == (Color.RED, Color.WHITE)
    assert colors.note == ""


@pytest.mark.parametrize(
    ("code", "old"),
    [
        # MUTCD 11th edition (2023) sections 2C.02 and 2A.10 as noted in the catalogue: the
        # alternative background of the row, or the fluorescent form of its colour.
        ("W11-2", Color.FLUORESCENT_YELLOW_GREEN),
        ("W1-2", Color.FLUORESCENT_YELLOW),
        ("W1-2", Color.ORANGE),
        ("W1-2", Color.FLUORESCENT_ORANGE),
        ("W1-2", Color.YELLOW),
        ("W16-7P", Color.FLUORESCENT_YELLOW_GREEN),
    ],
)
def test_a_colour_the_type_leaves_open_is_kept(code, old):
    colors = wanted_colors(sign_type(code), old, Color.BLACK)
    assert colors.background is old
    assert colors.note == ""


def test_an_old_face_in_another_colour_is_replaced_by_the_catalogues_and_said_so():
    colors = wanted_colors(sign_type("R1-1"), Color.GREEN, Color.WHITE)
    assert colors.background is Color.RED
    assert colors.note == (
        "The old face is recorded as green; R1-1 is red by the catalogue, and red is ordered."
    )


def test_a_type_without_colours_takes_the_old_faces():
    colors = wanted_colors(own_type(), Color.BROWN, Color.WHITE)
    assert (colors.background, colors.legend) == (Color.BROWN, Color.WHITE)


@pytest.mark.parametrize(
    ("kind", "old", "sentence"),
    [
        (own_type(), (None, None), "background colour of TR-7 is not known: the agency's own"),
        (
            own_type(background=Color.BROWN),
            (None, None),
            "legend colour of TR-7 is not known",
        ),
        (
            sign_type("M10-1"),
            (None, None),
            "background colour of M10-1 is not known: no source",
        ),
    ],
)
def test_a_colour_nobody_knows_is_refused(kind, old, sentence):
    with pytest.raises(NoPublishedValueError, match=sentence):
        wanted_colors(kind, *old)

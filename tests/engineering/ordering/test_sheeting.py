import pytest

from inventory.engineering.ordering.sheeting import (
    base_sheeting_color,
    check_sheeting_allowed,
    is_fluorescent,
)
from inventory.engineering.standards.catalogue import find_sign_type, sign_types
from inventory.engineering.standards.vocabulary import Color, Edition, MountClass, Optics
from inventory.errors import InventoryError, NoPublishedValueError, OutOfRangeError


def allowed(background: Color, legend: Color, **changes):
    fields = {
        "editions": [Edition.MUTCD_11],
        "sign_type": None,
        "mount": MountClass.POST,
        "sheeting_type": "XI",
        "optics": Optics.PRISMATIC,
        "width_in": 30,
        "height_in": 30,
    }
    return check_sheeting_allowed(background=background, legend=legend, **fields | changes)


@pytest.mark.parametrize(
    ("background", "others", "base"),
    [
        # Common practice, no source: printed on white unless the background is fluorescent.
        (Color.RED, [Color.WHITE], Color.WHITE),
        (Color.WHITE, [Color.RED], Color.WHITE),
        (Color.YELLOW, [Color.BLACK, Color.RED], Color.WHITE),
        (Color.BLACK, [Color.WHITE], Color.WHITE),
        (Color.FLUORESCENT_YELLOW, [Color.BLACK], Color.FLUORESCENT_YELLOW),
        (
            Color.FLUORESCENT_YELLOW_GREEN,
            [Color.BLACK, Color.FLUORESCENT_YELLOW_GREEN],
            Color.FLUORESCENT_YELLOW_GREEN,
        ),
    ],
)
def test_a_face_is_printed_on_white_unless_it_is_fluorescent(background, others, base):
    assert base_sheeting_color(background, others) is base


def test_a_fluorescent_colour_on_another_sheeting_is_refused():
    with pytest.raises(
        OutOfRangeError,
        match=r"fluorescent yellow-green .* cannot be printed on white sheeting",
    ):
        base_sheeting_color(Color.WHITE, [Color.BLACK, Color.FLUORESCENT_YELLOW_GREEN])


def test_white_on_fluorescent_sheeting_is_refused():
    with pytest.raises(OutOfRangeError, match="White that returns light cannot be printed"):
        base_sheeting_color(Color.FLUORESCENT_ORANGE, [Color.WHITE])


def test_every_catalogued_face_has_a_base_sheeting_or_a_reason():
    refused = []
    for sign_type in sign_types():
        if sign_type.background is None or sign_type.legend is None:
            continue
        others = (sign_type.legend, *sign_type.secondary)
        try:
            base = base_sheeting_color(sign_type.background, others)
        except OutOfRangeError:
            refused.append(sign_type.code)
        else:
            assert base is Color.WHITE or base is sign_type.background
            assert (base is Color.WHITE) != is_fluorescent(sign_type.background)
    # White faces with a fluorescent yellow-green header or symbol in the catalogue.
    assert refused == ["R1-6b", "R1-6c", "R1-9b", "R1-9c", "S5-1"]


@pytest.mark.parametrize(
    ("background", "legend", "mount", "sentence"),
    [
        # MUTCD 11th edition (2023) Table 2A-5 and MUTCD 2009 Table 2A-3: Type I beaded sheeting
        # may not be used for the white of green signs, nor for yellow and orange.
        (
            Color.GREEN,
            Color.WHITE,
            MountClass.POST,
            "for the white of post-mounted white on green",
        ),
        (Color.YELLOW, Color.BLACK, MountClass.POST, "for the yellow of black on yellow"),
        (Color.ORANGE, Color.BLACK, None, "for the orange of black on orange"),
    ],
)
@pytest.mark.parametrize("edition", [Edition.MUTCD_2009, Edition.MUTCD_11])
def test_sheeting_the_table_prohibits_is_refused_with_its_sentence(
    background, legend, mount, sentence, edition
):
    with pytest.raises(
        NoPublishedValueError, match=f"Beaded Type I sheeting may not be used {sentence}"
    ):
        allowed(
            background,
            legend,
            mount=mount,
            editions=[edition],
            sheeting_type="I",
            optics=Optics.BEADED,
        )


def test_beaded_type_i_may_be_used_for_a_stop_sign():
    # MUTCD 11th edition (2023) Table 2A-5: white on red has levels for every sheeting.
    found = allowed(Color.RED, Color.WHITE, sheeting_type="I", optics=Optics.BEADED)
    assert [str(row.minimum_ra_cd_lx_m2) for row in found.rows] == ["35", "7"]
    assert found.reason.startswith("Allowed for white on red signs under the 11th edition")


def test_beaded_type_ii_green_is_allowed_on_a_post_and_refused_overhead():
    # MUTCD 11th edition (2023) Table 2A-5: white on green, Type II, overhead prohibited.
    fields = {"sheeting_type": "II", "optics": Optics.BEADED}
    assert allowed(Color.GREEN, Color.WHITE, mount=MountClass.POST, **fields).rows
    with pytest.raises(NoPublishedValueError, match="overhead-mounted white on green"):
        allowed(Color.GREEN, Color.WHITE, mount=MountClass.OVERHEAD, **fields)
    with pytest.raises(
        NoPublishedValueError, match="Record how the sign is mounted, or choose"
    ):
        allowed(Color.GREEN, Color.WHITE, mount=None, **fields)


def test_type_iii_overhead_has_to_say_whether_it_is_prismatic():
    # MUTCD 11th edition (2023) Table 2A-5: white of overhead green, beaded III prohibited,
    # prismatic 250.
    fields = {"sheeting_type": "III", "mount": MountClass.OVERHEAD}
    assert allowed(Color.GREEN, Color.WHITE, optics=Optics.PRISMATIC, **fields).rows
    with pytest.raises(NoPublishedValueError, match="Record whether the sheeting is beaded or"):
        allowed(Color.GREEN, Color.WHITE, optics=Optics.UNKNOWN, **fields)
    with pytest.raises(
        NoPublishedValueError,
        match="how the sign is mounted and whether the sheeting is beaded or prismatic",
    ):
        allowed(
            Color.GREEN, Color.WHITE, sheeting_type="III", mount=None, optics=Optics.UNKNOWN
        )


def test_colours_without_a_row_are_allowed_because_nothing_prohibits_them():
    found = allowed(Color.FLUORESCENT_YELLOW_GREEN, Color.BLACK)
    assert found.rows == ()
    assert "No level is published" in found.reason


def test_blue_under_the_2009_edition_goes_by_the_recommendation_if_the_agency_does():
    # MUTCD 2009 has no row for blue; the FHWA memorandum of 5 April 2012 recommends one.
    alone = allowed(Color.BLUE, Color.WHITE, editions=[Edition.MUTCD_2009])
    assert alone.rows == ()
    assert "no binding level for white on blue" in alone.reason
    both = allowed(
        Color.BLUE,
        Color.WHITE,
        editions=[Edition.MUTCD_2009, Edition.MUTCD_2009_RECOMMENDED],
    )
    assert {row.edition for row in both.rows} == {Edition.MUTCD_2009_RECOMMENDED}


def test_a_table_row_that_was_not_checked_says_so():
    stop = find_sign_type("R1-1")[0]
    found = allowed(Color.RED, Color.WHITE, sign_type=stop, editions=[Edition.MUTCD_2009])
    assert "unverified" in found.reason


@pytest.mark.parametrize(
    ("changes", "error", "sentence"),
    [
        ({"sheeting_type": "XV"}, OutOfRangeError, "'XV' is not a sheeting type"),
        (
            {"sheeting_type": "I", "optics": Optics.PRISMATIC},
            NoPublishedValueError,
            "no column for prismatic Type I",
        ),
        ({"editions": []}, OutOfRangeError, "No edition was named"),
    ],
)
def test_a_sheeting_that_cannot_be_looked_up_is_refused(changes, error, sentence):
    with pytest.raises(error, match=sentence) as caught:
        allowed(Color.RED, Color.WHITE, **changes)
    assert isinstance(caught.value, InventoryError)

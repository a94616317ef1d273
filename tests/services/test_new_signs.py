"""A sign nobody had on record: added as far as it is known, and flagged for an engineer."""

from __future__ import annotations

import pytest

from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import Position, Road, Sign, Standing, Support, WrongDataFlag
from inventory.services.merging import merge_supports
from inventory.services.new_signs import NewSupport, SeenColour, add_unknown_sign
from inventory.services.wrong_data import open_added, open_wrong_data, settle_wrong_data
from tests.factories import NOW, make_agency, make_person, make_sign, make_support, position_of

pytestmark = pytest.mark.django_db

HERE = NewSupport(43.01, -89.4, accuracy_m=6.0)


@pytest.fixture
def agency():
    return make_agency()


def add(agency, support=HERE, **fields):
    return add_unknown_sign(organisation=agency, support=support, now=NOW, **fields)


def test_what_is_not_known_of_it_stays_unknown(agency):
    sign = add(agency)
    place = position_of(sign)
    assert (sign.state, sign.owner, sign.is_reconstructed) == ("installed", agency, True)
    for value in (sign.sign_code, sign.variant, sign.legend_text, place.mount):
        assert value == ""
    for unknown in (
        sign.width_in,
        sign.height_in,
        sign.installed_on,
        sign.fabricated_on,
        sign.maker,
        sign.label_id,
        place.facing_deg,
        place.order_on_support,
    ):
        assert unknown is None
    assert not sign.colour_areas.exists()
    assert (place.support.latitude_deg, place.support.accuracy_m) == (43.01, 6.0)


def test_what_is_known_of_it_is_kept(agency):
    road = Road.objects.create(organisation=agency, name="Mill Road")
    sign = add(
        agency,
        NewSupport(43.01, -89.4, support_type="u-channel", side="right", road=road),
        sign_code="R1-1",
        width_in=30.0,
        height_in=30.0,
        facing_deg=360.0,
        mount="post",
        order_on_support=1,
        colours=[
            SeenColour("background", "red", "IX", "prismatic"),
            SeenColour("legend", "white"),
        ],
    )
    place = position_of(sign)
    assert (place.support.road, place.support.side) == (road, "right")
    assert place.facing_deg == 0.0  # north by both names
    assert list(sign.colour_areas.values_list("part", "color", "sheeting_type", "optics")) == [
        ("background", "red", "IX", "prismatic"),
        ("legend", "white", "", "unknown"),
    ]


def test_a_code_of_the_catalogue_is_taken_and_another_kept_as_it_was_typed(agency):
    known = add(agency, sign_code="r1-1")
    assert (known.sign_code, position_of(known).source_code) == ("R1-1", "r1-1")
    assert Standing.objects.get(sign=known).safety_class == 1
    odd = add(agency, sign_code="QQ-99")
    assert (odd.sign_code, position_of(odd).source_code) == ("", "QQ-99")


def test_it_stands_in_the_lists_at_once_without_a_usable_reading(agency):
    sign = add(
        agency,
        sign_code="R1-1",
        colours=[SeenColour("background", "red", "IX"), SeenColour("legend", "white", "IX")],
    )
    assert Standing.objects.get(sign=sign).verdict == "no usable reading"


def test_on_a_support_on_record_no_second_one_is_made(agency):
    support = make_support(agency)
    assert position_of(add(agency, support)).support == support
    assert Support.objects.count() == 1


def test_on_a_support_that_was_merged_away_it_hangs_on_the_one_kept(agency):
    kept, duplicate = make_support(agency), make_support(agency)
    merge_supports(kept=kept, duplicate=duplicate, reason="one post", now=NOW)
    assert position_of(add(agency, duplicate)).support == kept


def test_an_engineer_sees_it_as_added_until_it_was_looked_at(agency):
    crew = make_person(agency)
    sign = add(agency, by=crew, note="behind the hedge")
    flag = open_added(agency).get()
    assert (flag.sign, flag.raised_by, flag.field) == (sign, crew, "added")
    assert flag.said == "Added at the roadside: it was not on record. Note: behind the hedge"
    assert not open_wrong_data(agency).exists()
    settle_wrong_data(flag=flag, reason="a sign of its own", now=NOW)
    assert not open_added(agency).exists()


def test_a_long_note_is_cut_in_the_flag_and_whole_in_the_logbook(agency):
    note = "hedge " * 50
    sign = add(agency, note=note)
    assert len(WrongDataFlag.objects.get().said) == 255
    entry = sign.logbook.get(verb="add sign")
    assert note.strip() in entry.text or note.strip() in entry.detail["text"]


# --- labels ----------------------------------------------------------------------------------


def test_a_label_of_no_face_on_record_is_kept_in_words_only(agency):
    sign = add(agency, label_id="001-0JK")
    assert sign.label_id is None
    assert "Label 001-0JK was read on it" in WrongDataFlag.objects.get().said


def test_a_label_of_a_sign_on_record_is_refused_with_that_sign(agency):
    known = make_sign(agency, label_id="001-0JK")
    with pytest.raises(StateConflictError, match=f"Label 001-0JK is sign {known.pk}"):
        add(agency, label_id="oo1 ojk")
    assert Sign.objects.count() == 1
    assert not WrongDataFlag.objects.exists()


def test_a_label_of_a_face_in_stock_is_refused(agency):
    Sign.objects.create(owner=agency, state=Sign.State.IN_STOCK, label_id="001-0JK")
    with pytest.raises(StateConflictError, match="on a face in stock"):
        add(agency, label_id="001-0JK")


def test_a_label_of_another_agencys_sign_says_no_more_than_that(agency):
    make_sign(make_agency("Elsewhere"), label_id="001-0JK")
    with pytest.raises(NotPermittedError, match="of another organisation") as caught:
        add(agency, label_id="001-0JK")
    assert "Elsewhere" not in str(caught.value)


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"facing_deg": 361.0}, "The facing 361° is no bearing"),
        ({"width_in": 0.0}, "The width 0 in is not that of a sign"),
        ({"height_in": 1200.5}, "The height 1200.5 in is not that of a sign"),
        ({"label_id": "001-0JM"}, "is not a label id"),
        ({"mount": "tree"}, "tree"),
        ({"colours": [SeenColour("background", "pink")]}, "'pink' is not a colour"),
        ({"colours": [SeenColour("legend", "", "XII")]}, "'XII' is not a sheeting type"),
        ({"colours": [SeenColour("legend")] * 7}, "7 colours were given"),
        ({"support": NewSupport(91.0, 0.0)}, "The latitude 91° is not on the globe"),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_nothing(agency, fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        add(agency, **fields)
    assert not Sign.objects.exists()
    assert not Position.objects.exists()
    assert not Support.objects.exists()


def test_anothers_support_and_road_are_refused(agency):
    other = make_agency()
    with pytest.raises(NotPermittedError):
        add(agency, make_support(other))
    road = Road.objects.create(organisation=other, name="Far Road")
    with pytest.raises(NotPermittedError):
        add(agency, NewSupport(43.0, -89.0, road=road))

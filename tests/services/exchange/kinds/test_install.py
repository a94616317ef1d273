"""A face put up by a crew; what another crew did there meanwhile goes to an engineer."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import Sign
from inventory.services.exchange.holding import ConflictError
from inventory.services.exchange.versions import position_version
from inventory.services.installation import remove_sign
from inventory.services.merging import merge_signs
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    position_of,
    print_order,
)
from tests.services.exchange.kinds.asking import AN_HOUR_AGO, apply

pytestmark = pytest.mark.django_db

TODAY = NOW.date().isoformat()
LABELS = ["000-01Y", "001-0JK"]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def old(agency):
    return make_sign(agency)


@pytest.fixture
def faces(agency):
    """Two Stop faces on the truck."""
    return [
        Sign.objects.create(
            owner=agency,
            state=Sign.State.IN_STOCK,
            sign_code="R1-1",
            width_in=30.0,
            height_in=30.0,
            label_id=label,
        )
        for label in LABELS
    ]


def version(position):
    there = Sign.objects.filter(position=position, state=Sign.State.INSTALLED).first()
    return position_version(position, there, position.support)


def put_up(agency, position, label=LABELS[0], replaces=None, **asked):
    payload = {
        "position": {"id": position.pk},
        "face": {"label": label},
        "installed_on": TODAY,
        "replaces": None if replaces is None else {"id": replaces.pk},
        "removal_reason": "" if replaces is None else "below_level",
        **asked.pop("payload", {}),
    }
    return apply(agency, "install", payload, **asked)


def standing_at(position):
    return Sign.objects.get(position=position, state=Sign.State.INSTALLED)


def test_a_face_takes_the_place_of_the_one_the_crew_found(agency, old, faces):
    crew, place = make_person(agency), position_of(old)
    result = put_up(agency, place, "ooo o1y", old, person=crew, base_version=version(place))
    assert result == {"sign_id": faces[0].pk, "position_id": place.pk}
    assert standing_at(place) == faces[0]
    old.refresh_from_db()
    assert (old.state, old.removal_reason) == ("removed", "below_level")
    assert faces[0].logbook.get(verb="install sign").actor == crew


def test_a_face_of_the_shops_printed_for_the_agency_goes_up(agency):
    shop = make_shop(agency=agency)
    place = position_of(make_sign(agency))
    order = make_released_order(agency, shop, [standing_at(place)])
    face = print_order(order, make_press(shop, make_roll(shop))).signs.get()
    assert face.owner is None
    put_up(agency, place, face.label_id, standing_at(place))
    assert standing_at(place) == face


def test_the_second_of_two_crews_faces_waits_for_an_engineer(agency, old, faces):
    place = position_of(old)
    known = version(place)
    put_up(agency, place, LABELS[0], old, base_version=known)
    with pytest.raises(ConflictError) as caught:
        put_up(agency, place, LABELS[1], old, base_version=known)
    said = str(caught.value)
    assert f"put up sign {faces[1].pk} (R1-1), label 001-0JK on" in said
    assert f"found sign {old.pk} (R1-1) there" in said
    assert f"by the records sign {faces[0].pk} (R1-1), label 000-01Y stands there" in said
    assert standing_at(place) == faces[0]


def test_two_crews_who_both_found_an_empty_place_are_settled_too(agency, faces):
    place = make_position(agency)
    known = version(place)
    put_up(agency, place, LABELS[0], base_version=known)
    for base_version in (known, ""):
        with pytest.raises(ConflictError, match="found no face"):
            put_up(agency, place, LABELS[1], base_version=base_version)


def test_a_face_that_another_crew_took_down_before_is_no_conflict(agency, old, faces):
    place = position_of(old)
    known = version(place)
    remove_sign(sign=old, removed_on=NOW.date(), reason="faded", now=NOW)
    put_up(agency, place, LABELS[0], old, base_version=known)
    assert standing_at(place) == faces[0]
    old.refresh_from_db()
    assert old.removal_reason == "faded"  # as the crew that took it down said


def test_a_face_found_there_that_never_stood_there_is_settled(agency, old, faces):
    place, elsewhere = make_position(agency), make_sign(agency)
    with pytest.raises(ConflictError, match="no face stands there now"):
        put_up(agency, place, LABELS[0], elsewhere)
    put_up(agency, place, LABELS[0], elsewhere, is_decided=True)
    assert standing_at(place) == faces[0]
    elsewhere.refresh_from_db()
    assert elsewhere.state == "installed"


def test_an_engineer_lets_the_second_stand_and_the_first_comes_down(agency, old, faces):
    place = position_of(old)
    put_up(agency, place, LABELS[0], old)
    yesterday = (NOW - timedelta(days=1)).date()
    Sign.objects.filter(pk=faces[0].pk).update(installed_on=yesterday)
    put_up(agency, place, LABELS[1], old, is_decided=True)
    assert standing_at(place) == faces[1]
    faces[0].refresh_from_db()
    assert (faces[0].state, faces[0].removed_on) == ("removed", NOW.date())


def test_the_same_face_told_twice_is_put_up_once(agency, faces):
    place = make_position(agency)
    assert put_up(agency, place) == put_up(agency, place)
    assert faces[0].logbook.filter(verb="install sign").count() == 1


def test_the_same_face_on_two_days_or_in_two_places_is_settled(agency, faces):
    place = make_position(agency)
    put_up(agency, place)
    with pytest.raises(ConflictError, match="is on record as put up here on 2026-06-01"):
        put_up(agency, place, payload={"installed_on": "2026-05-30"})
    with pytest.raises(ConflictError, match="An engineer decides where it is"):
        put_up(agency, make_position(agency))


def test_a_post_moved_meanwhile_does_not_stand_in_the_way(agency, old, faces):
    place = position_of(old)
    known = version(place)
    place.support.latitude_deg = 43.5
    place.support.save()
    put_up(agency, place, LABELS[0], old, base_version=known)
    assert standing_at(place) == faces[0]


def test_a_crew_that_knew_of_the_old_face_has_to_say_why_it_came_down(agency, old, faces):
    place = position_of(old)
    with pytest.raises(StateConflictError, match="comes down: say why"):
        put_up(agency, place, LABELS[0], None, base_version=version(place))


def test_a_place_merged_away_stands_for_the_one_that_is_kept(agency, old, faces):
    duplicate = make_sign(agency)
    merge_signs(kept=old, duplicate=duplicate, reason="one face", now=NOW)
    put_up(agency, position_of(duplicate), LABELS[0], duplicate)
    assert standing_at(position_of(old)) == faces[0]


# --- days and clocks -------------------------------------------------------------------------


def test_a_phone_a_year_ahead_puts_a_face_up_today(agency, faces):
    a_year_ahead = AN_HOUR_AGO + timedelta(days=365)
    put_up(
        agency,
        make_position(agency),
        device_at=a_year_ahead,
        payload={"installed_on": a_year_ahead.date().isoformat()},
    )
    faces[0].refresh_from_db()
    assert faces[0].installed_on == NOW.date()


def test_a_day_picked_on_purpose_stays_whatever_the_clock(agency, faces):
    put_up(
        agency,
        make_position(agency),
        device_at=AN_HOUR_AGO + timedelta(days=365),
        payload={"installed_on": "2026-05-30"},
    )
    faces[0].refresh_from_db()
    assert faces[0].installed_on == date(2026, 5, 30)


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        ({"face": {"label": "001-0JM"}}, "is not a label id"),
        ({"face": {"label": "002-017"}}, "label"),
        ({"face": {"id": 10**9}}, "There is no face 1000000000"),
        ({"face": None}, "face is empty"),
        ({"position": {"id": 10**9}}, "There is no position 1000000000"),
        ({"position": {}}, "must name a record"),
        ({"installed_on": "2026-02-30"}, "installed_on is '2026-02-30'"),
        ({"removal_reason": "bored"}, "removal_reason is 'bored'"),
        ({"installed_on": "2026-06-02"}, "today is 2026-06-01"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(agency, faces, payload, words):
    place = make_position(agency)
    with pytest.raises(InventoryError, match=words):
        put_up(agency, place, payload=payload)
    assert not Sign.objects.filter(position=place).exists()


def test_anothers_face_and_place_are_not_there(agency, faces):
    other = make_agency()
    make_sign(other, label_id="000-02W", state=Sign.State.INSTALLED)
    label = Sign.objects.get(owner=other).label_id
    for asked in ({"face": {"label": label}}, {"position": {"id": make_position(other).pk}}):
        with pytest.raises(OutOfRangeError):
            put_up(agency, make_position(agency), payload=asked)

"""Taking down, moving a post, adding a sign and flagging a record, as phones send them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.errors import InventoryError
from inventory.models import Road, Sign, Support, SupportMove, WrongDataFlag
from inventory.services.exchange.holding import ConflictError
from inventory.services.merging import merge_signs, merge_supports
from inventory.services.support_moves import move_support
from tests.factories import NOW, make_agency, make_person, make_sign, make_support, position_of
from tests.services.exchange.kinds.asking import AN_HOUR_AGO, apply

pytestmark = pytest.mark.django_db

TODAY = NOW.date().isoformat()


@pytest.fixture
def agency():
    return make_agency()


# --- remove ----------------------------------------------------------------------------------


def take_down(agency, sign, reason="stolen", **asked):
    payload = {"sign": {"id": sign.pk}, "removed_on": TODAY, "reason": reason, "note": "gone"}
    return apply(agency, "remove", payload | asked.pop("payload", {}), **asked)


def test_a_face_comes_down_with_its_reason(agency):
    sign, crew = make_sign(agency), make_person(agency)
    assert take_down(agency, sign, person=crew) == {"sign_id": sign.pk}
    sign.refresh_from_db()
    assert (sign.state, sign.removal_reason) == ("removed", "stolen")
    assert sign.logbook.get(verb="remove sign").actor == crew


def test_two_crews_who_say_the_same_are_one_and_two_who_differ_are_settled(agency):
    sign = make_sign(agency)
    take_down(agency, sign)
    take_down(agency, sign)
    assert sign.logbook.filter(verb="remove sign").count() == 1
    with pytest.raises(ConflictError, match=r"missing or stolen.*; this says.*knocked down"):
        take_down(agency, sign, reason="knocked_down")
    # Deciding for the second cannot take it down twice.
    with pytest.raises(InventoryError, match="cannot be removed twice"):
        take_down(agency, sign, reason="knocked_down", is_decided=True)


def test_of_a_sign_merged_away_the_one_kept_comes_down(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    merge_signs(kept=kept, duplicate=duplicate, reason="one face", now=NOW)
    assert take_down(agency, duplicate) == {"sign_id": kept.pk}


def test_a_phone_a_year_behind_takes_a_face_down_today(agency):
    sign = make_sign(agency)
    a_year_ago = AN_HOUR_AGO - timedelta(days=365)
    take_down(
        agency,
        sign,
        device_at=a_year_ago,
        payload={"removed_on": a_year_ago.date().isoformat()},
    )
    sign.refresh_from_db()
    assert sign.removed_on == NOW.date()


# --- move_support ----------------------------------------------------------------------------


def move(agency, support, latitude_deg=43.001, **asked):
    payload = {
        "support": {"id": support.pk},
        "latitude_deg": latitude_deg,
        "longitude_deg": -89.5,
        "accuracy_m": 5,
        "reason": "by the gate",
    }
    return apply(agency, "move_support", payload | asked.pop("payload", {}), **asked)


def test_a_post_is_moved_at_the_moment_the_crew_stood_there(agency):
    support, crew = make_support(agency), make_person(agency)
    result = move(agency, support, person=crew)
    made = SupportMove.objects.get()
    assert result == {"support_id": support.pk, "move_id": made.pk}
    assert (made.moved_at, made.recorded_at, made.moved_by) == (AN_HOUR_AGO, NOW, crew)
    assert (made.to_accuracy_m, made.reason) == (5.0, "by the gate")


def test_an_older_move_that_comes_late_waits_for_an_engineer(agency):
    support = make_support(agency)
    move_support(
        support=support, latitude_deg=43.002, longitude_deg=-89.5, moved_at=NOW, now=NOW
    )
    with pytest.raises(ConflictError, match="it was moved again at"):
        move(agency, support)
    move(agency, support, is_decided=True)
    assert Support.objects.get(pk=support.pk).latitude_deg == 43.001


def test_a_move_of_more_than_a_kilometre_waits_for_an_engineer(agency):
    support = make_support(agency)
    # 0.0089° of latitude are 990 m, 0.0092° are 1023 m (111.2 km a degree on the sphere).
    move(agency, support, 43.0089)
    other = make_support(agency)
    with pytest.raises(ConflictError, match="more than 1 km: another support may have been"):
        move(agency, other, 43.0092)


def test_of_a_post_merged_away_the_one_kept_is_moved(agency):
    kept, duplicate = make_support(agency), make_support(agency)
    merge_supports(kept=kept, duplicate=duplicate, reason="one post", now=NOW)
    assert move(agency, duplicate)["support_id"] == kept.pk


@pytest.mark.parametrize(
    "payload",
    [{"latitude_deg": 90.5}, {"latitude_deg": "43"}, {"accuracy_m": -1}, {"reason": "x" * 300}],
)
def test_a_move_to_nowhere_is_refused(agency, payload):
    with pytest.raises(InventoryError, match=next(iter(payload))):
        move(agency, make_support(agency), payload=payload)
    assert not SupportMove.objects.exists()


# --- add_sign --------------------------------------------------------------------------------


def new_support(**fields):
    return {"new": {"latitude_deg": 43.01, "longitude_deg": -89.4, "accuracy_m": 6.5} | fields}


def add(agency, support, **payload):
    return apply(agency, "add_sign", {"support": support, **payload})


def test_an_unknown_sign_is_added_with_what_the_crew_knows(agency):
    road = Road.objects.create(organisation=agency, name="Mill Road")
    result = add(
        agency,
        new_support(road_id=road.pk, side="right", support_type="wood"),
        sign_code="R1-1",
        width_in=30,
        height_in=30,
        facing_deg=90,
        mount="post",
        order_on_support=2,
        colours=[{"part": "background", "color": "red", "sheeting_type": "", "optics": ""}],
        note="behind the hedge",
    )
    sign = Sign.objects.get(pk=result["sign_id"])
    place = position_of(sign)
    assert (place.pk, place.support_id) == (result["position_id"], result["support_id"])
    assert (place.support.road, place.facing_deg, place.order_on_support) == (road, 90.0, 2)
    assert sign.colour_areas.get().optics == "unknown"
    assert WrongDataFlag.objects.get().seen_at == AN_HOUR_AGO


def test_all_that_was_left_empty_stays_unknown(agency):
    empty = dict.fromkeys(
        ["sign_code", "variant", "width_in", "facing_deg", "mount", "label_id", "colours"]
    )
    sign = Sign.objects.get(pk=add(agency, new_support(), **empty)["sign_id"])
    assert (sign.sign_code, sign.width_in, position_of(sign).facing_deg) == ("", None, None)


def test_a_second_sign_hangs_on_the_post_on_record(agency):
    support = make_support(agency)
    assert add(agency, {"id": support.pk})["support_id"] == support.pk


@pytest.mark.parametrize(
    ("support", "payload", "words"),
    [
        ({"new": {"latitude_deg": 43.0}}, {}, "longitude_deg is missing"),
        (None, {}, "support is empty; it must name a record"),
        ({"id": 10**9}, {}, "There is no support"),
        (new_support(road_id=10**9), {}, "There is no road"),
        (new_support(), {"colours": [{"part": "edge"}]}, "part is 'edge'"),
        (new_support(), {"facing_deg": 400}, "facing_deg is 400"),
    ],
)
def test_a_sign_that_stands_nowhere_is_refused(agency, support, payload, words):
    with pytest.raises(InventoryError, match=words):
        add(agency, support, **payload)
    assert not Sign.objects.exists()


# --- flag_record -----------------------------------------------------------------------------


def test_what_is_said_to_be_wrong_is_kept(agency):
    sign, crew = make_sign(agency), make_person(agency)
    payload = {"sign": {"id": sign.pk}, "field": "size", "said": "it is 36 in"}
    result = apply(agency, "flag_record", payload, person=crew)
    flag = WrongDataFlag.objects.get()
    assert result == {"flag_id": flag.pk, "sign_id": sign.pk}
    assert (flag.field, flag.said, flag.raised_by) == ("size", "it is 36 in", crew)
    assert (flag.seen_at, flag.recorded_at) == (AN_HOUR_AGO, NOW)


@pytest.mark.parametrize(
    "payload", [{"field": "added"}, {"field": "colour"}, {"said": ""}, {"sign": {"id": 10**9}}]
)
def test_a_flag_that_says_nothing_is_refused(agency, payload):
    sign = make_sign(agency)
    whole = {"sign": {"id": sign.pk}, "field": "size", "said": "it is 36 in"}
    with pytest.raises(InventoryError):
        apply(agency, "flag_record", whole | payload)
    assert not WrongDataFlag.objects.exists()


def test_anothers_sign_and_post_are_not_there(agency):
    other = make_agency()
    with pytest.raises(InventoryError, match="There is no sign"):
        take_down(agency, make_sign(other))
    with pytest.raises(InventoryError, match="There is no support"):
        move(agency, make_support(other))

"""A support put in another place: the old point kept, the signs with it, nothing by itself."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import pytest

from inventory.engineering.places import cell_of
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, Standing, SupportMove
from inventory.services.inspection import record_inspection
from inventory.services.merging import merge_supports
from inventory.services.nearby import nearby
from inventory.services.standing import refresh_standing
from inventory.services.support_moves import move_support
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_position,
    make_sign,
    make_support,
    position_of,
)

pytestmark = pytest.mark.django_db

THERE: dict[str, Any] = {"latitude_deg": 43.001, "longitude_deg": -89.501}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def support(agency):
    return make_support(agency, accuracy_m=30.0)


def test_the_point_it_had_stays_on_record(agency, support):
    crew = make_person(agency)
    move = move_support(
        support=support,
        **THERE,
        accuracy_m=4.0,
        reason="stands at the new driveway",
        by=crew,
        moved_at=NOW - timedelta(minutes=5),
        now=NOW,
    )
    support.refresh_from_db()
    assert (support.latitude_deg, support.longitude_deg) == (43.001, -89.501)
    assert support.accuracy_m == 4.0
    assert support.cell == cell_of(43.001, -89.501)
    assert (move.from_latitude_deg, move.from_longitude_deg) == (43.0, -89.5)
    assert (move.from_accuracy_m, move.to_accuracy_m) == (30.0, 4.0)
    assert (move.moved_at, move.recorded_at) == (NOW - timedelta(minutes=5), NOW)
    assert (move.moved_by, move.reason) == (crew, "stands at the new driveway")


def test_every_sign_on_it_is_found_where_it_stands_now(agency, support):
    signs = [make_sign(agency, position=make_position(agency, support=support)) for _ in "ab"]
    elsewhere = make_sign(agency)
    for sign in (*signs, elsewhere):
        refresh_standing(sign=sign, now=NOW)
    move_support(support=support, **THERE, now=NOW)
    for sign in signs:
        standing = Standing.objects.get(sign=sign)
        assert (standing.latitude_deg, standing.longitude_deg) == (43.001, -89.501)
        assert standing.cell == cell_of(43.001, -89.501)
        entry = LogbookEntry.objects.get(sign=sign, verb="move support")
        # A degree of latitude at 43° N is 111.1 km and one of longitude 81.5 km (the lengths of
        # a degree on the WGS 84 ellipsoid, from memory): 137.8 m together.
        assert "moved 137.8 m" in entry.text
    found = nearby(organisation=agency, **THERE)
    assert {near.found.sign_id for near in found.signs[:2]} == {sign.pk for sign in signs}
    assert Standing.objects.get(sign=elsewhere).latitude_deg == 43.0


def test_an_inspection_from_afar_moves_nothing(agency, support):
    sign = make_sign(agency, position=make_position(agency, support=support))
    record_inspection(sign=sign, taken_at=NOW, how="visual_day", note="leaning", now=NOW)
    support.refresh_from_db()
    assert (support.latitude_deg, support.longitude_deg) == (43.0, -89.5)
    assert not SupportMove.objects.exists()


def test_the_move_of_a_post_without_signs_is_noted(support):
    move_support(support=support, **THERE, now=NOW)
    assert LogbookEntry.objects.get(verb="move support").sign is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"latitude_deg": 90.1}, "The latitude 90.1° is not on the globe"),
        ({"longitude_deg": -180.5}, "The longitude -180.5° is not on the globe"),
        ({"latitude_deg": math.nan}, "The latitude nan° is not on the globe"),
        ({"accuracy_m": -1.0}, "The accuracy -1 m is not one a phone reports"),
        ({"reason": "x" * 256}, "at most 255 characters"),
    ],
)
def test_what_is_no_place_is_refused_and_nothing_moves(support, change, words):
    with pytest.raises(OutOfRangeError, match=words):
        move_support(support=support, **THERE | change, now=NOW)
    support.refresh_from_db()
    assert support.latitude_deg == 43.0
    assert not SupportMove.objects.exists()


def test_a_post_that_was_merged_away_is_not_moved(agency, support):
    kept = make_support(agency)
    merge_supports(kept=kept, duplicate=support, reason="one post", now=NOW)
    with pytest.raises(StateConflictError, match=f"merged into support {kept.pk}"):
        move_support(support=support, **THERE, now=NOW)


def test_a_second_move_starts_from_the_first(agency, support):
    sign = make_sign(agency, position=make_position(agency, support=support))
    move_support(support=support, **THERE, now=NOW)
    support.refresh_from_db()
    back = move_support(support=support, latitude_deg=43.0, longitude_deg=-89.5, now=NOW)
    assert (back.from_latitude_deg, back.to_latitude_deg) == (43.001, 43.0)
    assert position_of(sign).support.moves.count() == 2

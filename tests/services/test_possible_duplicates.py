"""What stands near a sign, and may be the same one recorded twice."""

from __future__ import annotations

import pytest

from inventory.models import Sign
from inventory.services.possible_duplicates import neighbours_of
from inventory.services.standing import refresh_standing
from tests.factories import NOW, make_agency, make_position, make_sign, make_support

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


def sign_at(agency, latitude_deg, longitude_deg=-89.5, sign_code="R1-1"):
    support = make_support(agency, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    position = make_position(agency, support=support, sign_code=sign_code)
    sign = make_sign(agency, position=position)
    refresh_standing(sign=sign, now=NOW)
    return sign


def near(sign, agency, **fields):
    rows = Sign.objects.select_related("position__support").filter(pk=sign.pk)
    return [each.sign for each in neighbours_of(list(rows), agency, **fields)[sign.pk]]


def test_the_same_code_comes_first_then_the_nearest(agency):
    sign = sign_at(agency, 43.0)
    other_code = sign_at(agency, 43.00001, sign_code="R1-2")
    farther = sign_at(agency, 43.0002)
    nearer = sign_at(agency, 43.0001)
    assert near(sign, agency) == [nearer, farther, other_code]


def test_100_feet_are_near_and_a_little_more_is_not(agency):
    # A degree of latitude is 111.2 km on the sphere: 0.000274° are 30.47 m, 0.000275° 30.58 m;
    # 100 ft are 30.48 m (international foot, 0.3048 m exactly).
    sign = sign_at(agency, 43.0)
    inside = sign_at(agency, 43.000274)
    sign_at(agency, 43.000275)
    assert near(sign, agency) == [inside]


def test_a_face_that_came_down_is_looked_for_where_it_stood(agency):
    sign = sign_at(agency, 43.0)
    Sign.objects.filter(pk=sign.pk).update(
        state="removed", removal_reason="stolen", removed_on=NOW.date()
    )
    refresh_standing(sign=sign, now=NOW)
    other = sign_at(agency, 43.0001)
    assert near(sign, agency) == [other]
    assert near(other, agency) == []


def test_anothers_sign_and_a_face_in_stock_are_not_near(agency):
    sign = sign_at(agency, 43.0)
    sign_at(make_agency(), 43.00001)
    stock = Sign.objects.create(owner=agency, state=Sign.State.IN_STOCK)
    assert near(sign, agency) == []
    assert near(stock, agency) == []


def test_many_signs_are_looked_around_in_the_same_queries(agency, django_assert_num_queries):
    signs = [sign_at(agency, 43 + n / 1000) for n in range(6)]
    rows = list(Sign.objects.select_related("position__support").filter(owner=agency))
    with django_assert_num_queries(2):
        assert neighbours_of(rows, agency) == {sign.pk: [] for sign in signs}

"""Which signs are near: checked against geodesic distances on the ellipsoid."""

import pytest
from pyproj import Geod

from inventory.models import Sign
from inventory.services.nearby import find_signs, nearby
from tests.factories import (
    make_agency,
    make_position,
    make_sign,
    make_standing,
    make_support,
)

pytestmark = pytest.mark.django_db
WGS_84 = Geod(ellps="WGS84")


def stand(agency, latitude_deg, longitude_deg, **fields):
    support = make_support(agency, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    sign = make_sign(agency, position=make_position(agency, support=support), **fields)
    make_standing(sign)
    return sign


def grid(agency):
    return [
        stand(agency, 43.0 + row * 0.0031, -89.5 + column * 0.0047)
        for row in range(-3, 4)
        for column in range(-3, 4)
    ]


@pytest.mark.parametrize("here", [(43.0, -89.5), (43.0044, -89.4921), (42.99, -89.52)])
def test_the_nearest_signs_are_those_a_geodesic_finds(here):
    agency = make_agency()
    signs = grid(agency)
    found = nearby(
        organisation=agency, latitude_deg=here[0], longitude_deg=here[1], count=12
    ).signs

    def geodesic_m(sign):
        support = sign.position.support
        return WGS_84.inv(here[1], here[0], support.longitude_deg, support.latitude_deg)[2]

    expected = sorted(signs, key=geodesic_m)[:12]
    assert {near.found.sign_id for near in found} == {sign.pk for sign in expected}
    for near in found:
        sign = Sign.objects.select_related("position__support").get(pk=near.found.sign_id)
        # The mean sphere is within 0.6 % of the ellipsoid.
        assert near.distance_m == pytest.approx(geodesic_m(sign), rel=0.006)
    assert [near.distance_m for near in found] == sorted(near.distance_m for near in found)


def test_a_sign_in_the_corner_of_the_box_does_not_hide_a_nearer_one():
    agency = make_agency()
    # 60 m is the first radius: the first sign is in the corner of its box, 75 m away; the
    # second due north at 65 m.
    corner = stand(agency, 43.000477, -89.499348)
    north = stand(agency, 43.000585, -89.5)
    found = nearby(organisation=agency, latitude_deg=43.0, longitude_deg=-89.5, count=1)
    assert [near.found.sign_id for near in found.signs] == [north.pk]
    assert corner.pk != north.pk


def test_a_poor_position_widens_the_search():
    agency = make_agency()
    sign = stand(agency, 43.002, -89.5)
    found = nearby(
        organisation=agency, latitude_deg=43.0, longitude_deg=-89.5, accuracy_m=300.0, count=1
    )
    assert [near.is_within_accuracy for near in found.signs] == [True]
    assert found.signs[0].found.sign_id == sign.pk
    assert found.radius_m >= 300.0


def test_nothing_is_near_in_the_middle_of_nowhere():
    agency = make_agency()
    stand(agency, 43.0, -89.5)
    found = nearby(organisation=agency, latitude_deg=44.0, longitude_deg=-89.5)
    assert found.signs == []
    assert found.empty_positions == []


def test_a_retired_place_is_not_offered():
    agency = make_agency()
    kept, _retired = make_position(agency), make_position(agency, is_retired=True)
    found = nearby(organisation=agency, latitude_deg=43.0, longitude_deg=-89.5)
    assert [near.found.pk for near in found.empty_positions] == [kept.pk]


def test_no_words_find_no_sign():
    agency = make_agency()
    stand(agency, 43.0, -89.5)
    assert not find_signs(organisation=agency, text="  ").exists()
    assert find_signs(organisation=agency, text="R1-1").exists()

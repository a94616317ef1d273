"""The map shows every sign of its box once, and nobody else's."""

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.places import cell_of, cell_ranges_of_box
from inventory.models import Road, Standing
from inventory.services import sign_map
from inventory.services.sign_map import Box, extent, in_box, road_lines, view_box
from tests.factories import make_agency, make_position, make_sign, make_standing, make_support

pytestmark = pytest.mark.django_db

COUNTY = Box(42.0, -90.0, 44.0, -88.0)
ZOOM = 10


def sign_at(agency, latitude_deg, longitude_deg, **fields):
    support = make_support(agency, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    sign = make_sign(agency, position=make_position(agency, support=support))
    return make_standing(sign, **fields)


def test_a_box_shows_the_signs_in_it_and_none_just_outside():
    agency = make_agency()
    inside = sign_at(agency, 43.0, -89.0)
    sign_at(agency, 43.0, -87.999)
    sign_at(agency, 44.001, -89.0)
    view = view_box(Standing.objects.owned_by(agency), COUNTY, ZOOM)
    assert [row["sign_id"] for row in view.signs] == [inside.sign_id]
    assert view.groups == []


def test_a_sign_on_the_edge_of_the_box_is_shown():
    agency = make_agency()
    corner = sign_at(agency, 42.0, -90.0)
    assert in_box(Standing.objects.owned_by(agency), COUNTY).get() == corner


def test_too_many_signs_come_as_groups_that_count_every_one(monkeypatch):
    monkeypatch.setattr(sign_map, "MAXIMUM_MARKERS", 5)
    agency = make_agency()
    for n in range(9):
        sign_at(agency, 43.0 + n * 0.1, -89.0, is_due=n % 3 == 0)
    view = view_box(Standing.objects.owned_by(agency), COUNTY, ZOOM)
    assert view.signs == []
    assert sum(group["sign_count"] for group in view.groups) == 9
    assert sum(group["due_count"] for group in view.groups) == 3


def test_far_off_signs_close_together_make_one_group_and_from_near_two(monkeypatch):
    monkeypatch.setattr(sign_map, "MAXIMUM_MARKERS", 1)
    agency = make_agency()
    sign_at(agency, 43.0000, -89.0000)
    sign_at(agency, 43.0005, -89.0005)
    rows = Standing.objects.owned_by(agency)
    assert len(view_box(rows, COUNTY, 6).groups) == 1
    assert len(view_box(rows, COUNTY, 19).groups) == 2


def test_a_group_stands_in_the_middle_of_its_signs(monkeypatch):
    monkeypatch.setattr(sign_map, "MAXIMUM_MARKERS", 1)
    agency = make_agency()
    sign_at(agency, 43.0000, -89.0000)
    sign_at(agency, 43.0002, -89.0004)
    (group,) = view_box(Standing.objects.owned_by(agency), COUNTY, 4).groups
    assert group["latitude_deg"] == pytest.approx(43.0001, abs=1e-9)
    assert group["longitude_deg"] == pytest.approx(-89.0002, abs=1e-9)


def test_the_cells_are_found_by_their_index_not_by_reading_the_table(
    django_assert_num_queries,
):
    agency = make_agency()
    rows = Standing.objects.owned_by(agency)
    with django_assert_num_queries(1):
        view_box(rows, COUNTY, ZOOM)
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite can show this")
    small = in_box(rows, Box(43.0, -89.01, 43.01, -89.0))
    plan = small.order_by("cell", "sign_id").explain()
    assert "standing_by_cell (organisation_id=? AND cell>? AND cell<?)" in plan


def test_a_county_without_signs_has_no_extent():
    agency = make_agency()
    assert extent(Standing.objects.owned_by(agency)) is None


def test_the_extent_reaches_just_to_the_outermost_signs():
    agency = make_agency()
    sign_at(agency, 43.0, -89.5)
    sign_at(agency, 43.2, -89.1)
    assert extent(Standing.objects.owned_by(agency)) == Box(43.0, -89.5, 43.2, -89.1)


def test_a_road_without_a_line_is_not_drawn_nor_is_anybody_elses():
    agency, other = make_agency(), make_agency()
    line = [[-89.0, 43.0], [-89.1, 43.1]]
    Road.objects.create(organisation=agency, name="Mill Road", line=line)
    Road.objects.create(organisation=agency, name="Track")
    Road.objects.create(organisation=other, name="Elsewhere", line=line)
    assert [road["name"] for road in road_lines(agency)] == ["Mill Road"]


@given(
    st.floats(-84.0, 84.0),
    st.floats(-179.0, 179.0),
    st.floats(0.0001, 0.9),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
)
def test_any_point_of_any_box_lies_in_the_cells_asked_for(south, west, size, up, along):
    cell = cell_of(south + up * size, west + along * size)
    ranges = cell_ranges_of_box(south, west, south + size, west + size)
    assert any(first <= cell <= last for first, last in ranges)

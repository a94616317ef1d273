"""The page of what work costs and takes."""

import pytest
from django.urls import reverse

from inventory.engineering.standards.supports import support_types
from inventory.models import Role, WorkBasis
from tests.factories import make_agency, make_shop
from tests.web.acting import act_as
from tests.web.programme_records import make_basis

pytestmark = pytest.mark.django_db
ADDRESS = reverse("work-basis")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(client, agency):
    act_as(client, agency)
    return client


def typed(**changes):
    weights = {f"weight_{number}": weight for number, weight in enumerate("8421", start=1)}
    return {
        "currency": "$",
        "face_price": "40",
        "face_price_per_ft2": "9.5",
        "crew_price_per_h": "120",
        "face_hours": "0.4",
        "face_hours_per_ft2": "0",
        "support_hours": "0.3",
        "stretch_hours": "0.5",
        "read_minutes": "6",
        "look_minutes": "2",
        "lead_days": "60",
        "stretch_mi": "2",
        "detour_factor": "1.3",
        "speed_mi_per_h": "30",
        "effective_on": "2020-01-01",
        "basis": "county accounts (invented)",
        **weights,
    } | changes


def test_the_first_version_is_asked_for_with_what_is_assumed_filled_in(engineer):
    page = engineer.get(ADDRESS).content.decode()
    assert "Nothing is set that holds today." in page
    assert 'name="weight_1" value="10"' in page


def test_a_version_is_set_and_holds(engineer, agency):
    kind = support_types()[0]
    answer = engineer.post(ADDRESS, typed(**{f"at_{kind.key}": "0.25"}), follow=True)
    page = answer.content.decode()
    assert "$ 40 and $ 9.50 per ft²" in page
    assert f"at {kind.name} 0.25 h more" in page
    basis = WorkBasis.objects.owned_by(agency).get()
    assert basis.class_weights == [8.0, 4.0, 2.0, 1.0]
    assert basis.hours_by_support == {kind.key: 0.25}


def test_the_next_version_starts_from_the_one_in_force_and_the_earlier_stays(engineer, agency):
    make_basis(agency, face_price=44.0)
    assert 'name="face_price" value="44"' in engineer.get(ADDRESS).content.decode()
    engineer.post(ADDRESS, typed())
    versions = WorkBasis.objects.owned_by(agency).order_by("version")
    assert [(each.version, each.face_price) for each in versions] == [(1, 44.0), (2, 40.0)]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"face_price": "forty"}, "&#x27;forty&#x27; is not a number"),
        ({"face_price": ""}, "A face: no figure was typed."),
        ({"detour_factor": "0.9"}, "is 0.9; it is 1 or more"),
        ({"lead_days": "1000"}, "at most 730"),
        ({"weight_2": "9"}, "no class weighs more than the one before it"),
        ({"basis": ""}, "say where they come from"),
    ],
)
def test_what_cannot_be_is_refused_and_what_was_typed_is_kept(engineer, changes, words):
    answer = engineer.post(ADDRESS, typed(crew_price_per_h="123.5", **changes))
    assert answer.status_code == 400
    page = answer.content.decode()
    assert words in page
    assert 'name="crew_price_per_h" value="123.5"' in page
    assert not WorkBasis.objects.exists()


def test_only_the_engineer_sees_what_work_costs(client, agency):
    act_as(client, agency, Role.CREW)
    assert client.get(ADDRESS).status_code == 403
    act_as(client, make_shop(), Role.SHOP)
    assert client.post(ADDRESS, typed()).status_code == 403
    assert not WorkBasis.objects.exists()


def test_another_agencys_versions_are_not_shown(engineer):
    make_basis(make_agency(), basis="accounts of another county")
    assert "another county" not in engineer.get(ADDRESS).content.decode()

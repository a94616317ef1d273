"""What work costs and takes is set in versions, and what cannot be is refused."""

from datetime import date
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, WorkBasis
from inventory.services.programme.work_bases import set_work_basis, work_basis_at
from tests.factories import make_agency

pytestmark = pytest.mark.django_db

FIGURES: dict[str, Any] = {
    "face_price": 40.0,
    "face_price_per_ft2": 9.0,
    "crew_price_per_h": 120.0,
    "face_hours": 0.4,
    "support_hours": 0.3,
    "stretch_hours": 0.5,
    "lead_days": 60,
    "basis": "county accounts (invented)",
}


def set_one(agency, day=date(2026, 1, 1), **fields):
    return set_work_basis(agency=agency, effective_on=day, **FIGURES | fields)


def test_a_later_version_holds_from_its_day_and_the_earlier_one_stays():
    agency = make_agency()
    first = set_one(agency)
    second = set_one(agency, date(2026, 6, 1), face_price=50.0)
    assert (first.version, second.version) == (1, 2)
    assert work_basis_at(agency, date(2026, 5, 31)).pk == first.pk
    assert work_basis_at(agency, date(2026, 6, 1)).face_price == 50.0
    assert LogbookEntry.objects.filter(verb="set work basis").count() == 2


def test_weights_not_given_are_the_assumed_ones():
    assert set_one(make_agency()).class_weights == [10.0, 4.0, 2.0, 1.0]


def test_an_agency_that_has_said_nothing_is_told_where_to():
    with pytest.raises(StateConflictError, match="has not said what work costs"):
        work_basis_at(make_agency(), date(2026, 1, 1))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"face_price": -1.0}, "'face price' is -1; it is 0 or more"),
        ({"detour_factor": 0.9}, "'detour factor' is 0.9; it is 1 or more"),
        ({"speed_mi_per_h": float("nan")}, "'speed mi per h' is nan"),
        ({"lead_days": 1000}, "lead time is 1000 days; it is at most 730"),
        ({"hours_by_support": {"u-channel": "long"}}, "support 'u-channel' are 'long'"),
        ({"class_weights": [1.0, 2.0, 1.0, 1.0]}, "no class weighs more"),
        ({"face_price": 0.0, "face_price_per_ft2": 0.0, "crew_price_per_h": 0.0}, "nothing"),
        ({"basis": " "}, "basis"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        set_one(make_agency(), **fields)
    assert not WorkBasis.objects.exists()

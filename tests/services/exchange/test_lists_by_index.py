"""The lists of what comes from the phones are read in their order, by an index, unsorted."""

from __future__ import annotations

import pytest
from django.db import connection

from inventory.models import (
    Device,
    DeviceOperation,
    SignMerge,
    SupportMerge,
    WorkPackage,
    WrongDataFlag,
)
from tests.factories import make_agency

pytestmark = pytest.mark.django_db

LISTS = {
    "device_by_org_heard": lambda agency: Device.objects.owned_by(agency).order_by(
        "-last_heard_at", "-pk"
    ),
    "operation_by_state": lambda agency: (
        DeviceOperation.objects.owned_by(agency)
        .filter(state="held")
        .order_by("-received_at", "-pk")
    ),
    "operation_settled": lambda agency: (
        DeviceOperation.objects.owned_by(agency)
        .filter(settled_at__isnull=False)
        .order_by("-settled_at", "-pk")
    ),
    "wrong_data_by_org_time": lambda agency: WrongDataFlag.objects.owned_by(agency).order_by(
        "-recorded_at", "-pk"
    ),
    "support_merge_by_org_time": lambda agency: SupportMerge.objects.owned_by(agency).order_by(
        "-merged_at", "-pk"
    ),
    "sign_merge_by_org_time": lambda agency: SignMerge.objects.owned_by(agency).order_by(
        "-merged_at", "-pk"
    ),
    "package_by_day": lambda agency: WorkPackage.objects.owned_by(agency).order_by(
        "-work_on", "-pk"
    ),
    "package_by_state_day": lambda agency: (
        WorkPackage.objects.owned_by(agency)
        .filter(state="handed_out")
        .order_by("-work_on", "-pk")
    ),
}

# Of two that both give the order, a planner without statistics may take either.
GOOD_TOO = {"package_by_state_day": "package_by_day"}


@pytest.mark.parametrize("index", LISTS)
def test_a_list_is_read_in_its_order_by_its_index(index):
    rows = LISTS[index](make_agency())[:25]
    if connection.vendor == "postgresql":
        # An empty table is read at once; what years of phones sent is not.
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
            cursor.execute("SET LOCAL enable_sort = off")  # where it need not, it will not
    plan = rows.explain()
    assert index in plan or GOOD_TOO.get(index, index) in plan
    assert "sort" not in plan.lower()
    assert "temp b-tree" not in plan.lower()

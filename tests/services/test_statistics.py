"""A database that has just been loaded plans by what it holds, not by what it held before."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.services.statistics import refresh_statistics
from tests.factories import make_agency, make_sign

pytestmark = pytest.mark.django_db


def test_the_database_counts_the_rows_that_were_loaded():
    agency = make_agency()
    for _ in range(5):
        make_sign(agency)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        refresh_statistics()
    if connection.vendor != "postgresql":
        assert len(queries) == 0
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT reltuples FROM pg_class WHERE relname = 'inventory_sign'")
        assert cursor.fetchone() == (5,)

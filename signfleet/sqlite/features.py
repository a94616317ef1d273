"""What the SQLite in force can do, where Django asks Python's own instead."""

from __future__ import annotations

from django.db.backends.sqlite3.features import DatabaseFeatures as DjangoFeatures

from signfleet.sqlite.library import library

_VERSION = library.sqlite_version_info


class DatabaseFeatures(DjangoFeatures):
    """Django's list, with the versions of the library in force."""

    can_alter_table_drop_column = _VERSION >= (3, 35, 5)
    can_return_columns_from_insert = _VERSION >= (3, 35)
    can_return_rows_from_bulk_insert = can_return_columns_from_insert
    supports_aggregate_order_by_clause = _VERSION >= (3, 44)

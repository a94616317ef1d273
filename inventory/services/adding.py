"""Rows added by the thousand, where nothing needs their keys afterwards."""

from __future__ import annotations

from operator import attrgetter
from typing import TYPE_CHECKING, Any

from django.db import connection, models

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_SENT_AS_THEY_ARE = frozenset((str, int, float, type(None)))


def add_records(records: Sequence[models.Model]) -> None:
    """Add new records of one kind, as ``add_rows`` does; they do not learn their keys."""
    if not records:
        return
    model = type(records[0])
    names = [each.attname for each in _columns(model)]
    add_rows(model, names, map(attrgetter(*names), records))


def add_rows(
    model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """
    Add rows of one kind, within the caller's transaction; ``names`` are those of all columns.

    As ``bulk_create`` would, with the same values and constraints, in half the time: it makes
    no record of each row and asks for no key. The columns are named as attributes, such as
    ``reading_set_id``; that of the key is left to the database.
    """
    by_name = {each.attname: each for each in _columns(model)}
    if set(names) != set(by_name):
        msg = f"{model.__name__} has the columns {sorted(by_name)}, not {sorted(names)}."
        raise TypeError(msg)
    fields = [by_name[name] for name in names]
    prepare = [each.get_db_prep_save for each in fields]
    prepared = [
        [
            value if type(value) in _SENT_AS_THEY_ARE else ready(value, connection)
            for value, ready in zip(row, prepare, strict=True)
        ]
        for row in rows
    ]
    quote = connection.ops.quote_name
    table = quote(model._meta.db_table)
    columns = ", ".join(quote(each.column) for each in fields)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            into = f"COPY {table} ({columns}) FROM STDIN"
            with connection.wrap_database_errors, cursor.copy(into) as sent:
                for row in prepared:
                    sent.write_row(row)
        else:
            places = ", ".join(["%s"] * len(fields))
            into = f"INSERT INTO {table} ({columns}) VALUES ({places})"  # noqa: S608 - names of the model's own
            cursor.executemany(into, prepared)


def _columns(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    """Return the columns of a record without its key."""
    return [each for each in model._meta.concrete_fields if not each.primary_key]

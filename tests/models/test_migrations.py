"""
The tests' own tables are made from the models (``--no-migrations``): here they are compared,
to the letter, with those that the migrations make for an agency.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any

import psycopg
import pytest
from django.db import connection

from tests.faults.stores import PostgresStore
from tests.migrated import migrate

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

pytestmark = pytest.mark.django_db

POSTGRES = (
    """select table_name, column_name, data_type, character_maximum_length, numeric_precision,
              numeric_scale, datetime_precision, is_nullable, column_default, is_identity,
              identity_generation, collation_name
       from information_schema.columns where table_schema = 'public'""",
    """select conrelid::regclass::text, conname, pg_get_constraintdef(oid)
       from pg_constraint where connamespace = 'public'::regnamespace""",
    "select tablename, indexname, indexdef from pg_indexes where schemaname = 'public'",
)
# Ours; a key of Django's own group permissions is wider by its migration than by its model.
OURS = "inventory_"


def rules_of_sqlite(ask: Callable[[str], list[tuple[Any, ...]]]) -> set[tuple[Any, ...]]:
    """Return each column, constraint and index of each table, as SQLite keeps its text."""
    found: set[tuple[Any, ...]] = set()
    for kind, name, table, text in ask(
        "select type, name, tbl_name, sql from sqlite_master where sql is not null"
    ):
        if not table.startswith(OURS):
            continue
        pieces = parts_of(text) if kind == "table" else [text]
        found.update((kind, name, piece) for piece in pieces)
    return found


def parts_of(text: str) -> list[str]:
    """Return what stands between the commas of a CREATE TABLE, whatever their order."""
    parts, depth, quote = [""], 0, ""
    for letter in text[text.index("(") + 1 : text.rindex(")")]:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "'\"":
            quote = letter
        elif letter in "()":
            depth += 1 if letter == "(" else -1
        elif letter == "," and depth == 0:
            parts.append("")
            continue
        parts[-1] += letter
    return [each.strip() for each in parts]


def rules_of_postgres(ask: Callable[[str], list[tuple[Any, ...]]]) -> set[tuple[Any, ...]]:
    """Return each column, constraint and index of each table, as PostgreSQL writes it out."""
    return {row for query in POSTGRES for row in ask(query) if row[0].startswith(OURS)}


def ask_the_tests(query: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return list(cursor.fetchall())


def test_the_migrations_make_the_tables_that_the_models_say(
    request: pytest.FixtureRequest, tmp_path: Path
):
    if connection.vendor == "sqlite":
        file = request.getfixturevalue("migrated_file")
        with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as migrated:
            theirs = rules_of_sqlite(lambda query: migrated.execute(query).fetchall())
        ours = rules_of_sqlite(ask_the_tests)
    else:
        store = PostgresStore(os.environ["DATABASE_URL"])
        try:
            migrate(store.url, tmp_path)
            with psycopg.connect(store.url) as migrated:
                theirs = rules_of_postgres(lambda query: migrated.execute(query).fetchall())
        finally:
            store.drop()
        ours = rules_of_postgres(ask_the_tests)
    assert len(ours) > 1_000
    assert theirs - ours == set()
    assert ours - theirs == set()


def test_a_table_is_taken_apart_at_its_own_commas_only():
    text = (
        """CREATE TABLE "t" ("a" decimal(5, 2) NOT NULL, CONSTRAINT "x, y" CHECK ("a" > 1))"""
    )
    assert parts_of(text) == [
        '"a" decimal(5, 2) NOT NULL',
        'CONSTRAINT "x, y" CHECK ("a" > 1)',
    ]
    assert parts_of("CREATE TABLE t (a text CHECK (a IN ('b, (', 'c')), d int)") == [
        "a text CHECK (a IN ('b, (', 'c'))",
        "d int",
    ]

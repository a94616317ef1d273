"""The database wrapper Django loads for the engine ``signfleet.sqlite``."""

from __future__ import annotations

import datetime
import decimal
import time
from collections.abc import Iterable, Mapping
from itertools import tee
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db.backends.sqlite3 import base as django_base
from django.db.backends.sqlite3._functions import (  # type: ignore[import-untyped] # the stubs leave it out
    register as register_functions,
)
from django.utils.asyncio import async_unsafe
from django.utils.dateparse import parse_date, parse_datetime, parse_time

from signfleet.sqlite import checks, one_process
from signfleet.sqlite.features import DatabaseFeatures
from signfleet.sqlite.library import (
    Connection,
    connect,
    is_safe_for_several_processes,
    library,
)

__all__ = ["DatabaseWrapper", "checks"]

BUSY_TIMEOUT_S = 20.0
_LOCKED_RETRY_S = 0.05

_PRAGMAS = (
    "foreign_keys = ON",
    "legacy_alter_table = OFF",
    "synchronous = FULL",  # a commit that was answered survives a power cut
    "mmap_size = 0",  # an I/O error is an error here, not the end of the process
)


def _adapt_datetime(value: datetime.datetime) -> str:
    """Return a time as Django stores it: ISO 8601 with a blank."""
    return value.isoformat(" ")


# What Django registers with Python's own library, registered with the one in force.
library.register_converter("bool", b"1".__eq__)
library.register_converter("date", django_base.decoder(parse_date))
library.register_converter("time", django_base.decoder(parse_time))
library.register_converter("datetime", django_base.decoder(parse_datetime))
library.register_converter("timestamp", django_base.decoder(parse_datetime))
library.register_adapter(decimal.Decimal, str)
library.register_adapter(datetime.date, datetime.date.isoformat)
library.register_adapter(datetime.datetime, _adapt_datetime)


class SQLiteCursorWrapper(library.Cursor):
    """Django's cursor, which takes ``%s`` for SQLite's ``?``, on the library in force."""

    convert_query = django_base.SQLiteCursorWrapper.convert_query  # type: ignore[attr-defined] # the stubs leave it out

    def execute(self, query: str, params: Any = None) -> Any:
        """Run one statement with positional or named parameters."""
        if params is None:
            return super().execute(query)
        names = list(params) if isinstance(params, Mapping) else None
        return super().execute(self.convert_query(query, param_names=names), params)

    def executemany(self, query: str, param_list: Iterable[Any]) -> Any:
        """Run one statement for each set of parameters."""
        peekable, param_list = tee(iter(param_list))
        first = next(peekable, None)
        names = list(first) if isinstance(first, Mapping) else None
        return super().executemany(self.convert_query(query, param_names=names), param_list)


class DatabaseWrapper(django_base.DatabaseWrapper):
    """SQLite that several processes may write: WAL, full sync, writers in a queue."""

    Database = library
    features_class = DatabaseFeatures
    library_version: tuple[int, ...] = library.sqlite_version_info
    transaction_mode: str | None
    init_commands: list[str]

    def get_connection_params(self) -> dict[str, Any]:
        """Return Django's parameters, with our time-out and transactions that queue."""
        parameters = super().get_connection_params()
        parameters.setdefault("timeout", BUSY_TIMEOUT_S)
        parameters["detect_types"] = library.PARSE_DECLTYPES | library.PARSE_COLNAMES
        # A deferred transaction that reads and then writes fails at once with "database is
        # locked" if another wrote meanwhile; an immediate one waits for its turn.
        self.transaction_mode = self.transaction_mode or "IMMEDIATE"
        return parameters

    @async_unsafe
    def get_new_connection(self, conn_params: dict[str, Any]) -> Connection:
        """Open the file, after making sure this process may."""
        on_disk = not self.is_in_memory_db()
        if on_disk and not is_safe_for_several_processes(self.library_version):
            one_process.claim(str(conn_params["database"]), self.library_version)
        connection = connect(**conn_params)
        register_functions(connection)
        for pragma in _PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")
        if on_disk:
            _use_write_ahead_log(connection, conn_params)
        for command in filter(None, (part.strip() for part in self.init_commands)):
            connection.execute(command)
        return connection

    def create_cursor(self, name: str | None = None) -> Any:
        """Return a cursor that speaks Django's placeholders."""
        return self.connection.cursor(factory=SQLiteCursorWrapper)


def _use_write_ahead_log(connection: Connection, conn_params: dict[str, Any]) -> None:
    """
    Put the file in WAL mode, once in its life; every later opening finds it so.

    The switch needs the file alone and does not wait for it by itself, so two processes
    that open a new database together would meet here.
    """
    deadline = time.monotonic() + float(conn_params["timeout"])
    while True:
        try:
            (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
        except library.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() >= deadline:
                raise
            time.sleep(_LOCKED_RETRY_S)
            continue
        if mode == "wal":
            return
        msg = (
            f"{conn_params['database']} cannot keep a write-ahead log (it stays in {mode!r} "
            "mode). Put the database on a local disk, not on a network share."
        )
        raise ImproperlyConfigured(msg)

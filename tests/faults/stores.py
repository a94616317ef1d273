"""Databases of a run's own: made, backed up while the server is down, put back, dropped."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import tempfile
import uuid
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Protocol
from urllib.parse import urlsplit, urlunsplit

import psycopg

from tests.faults.site import free_port

if TYPE_CHECKING:
    from collections.abc import Iterator


class Store(Protocol):
    """A database that can go back in time."""

    name: str
    url: str

    def back_up(self) -> None:
        """Keep what is in it now; the server is down."""

    def restore(self) -> None:
        """Put back what was kept; the server is down."""


class SqliteStore:
    """One file, as an agency that follows the README has it."""

    name = "SQLite"

    def __init__(self, folder: Path) -> None:
        self._file = folder / "faults.sqlite3"
        self._backup = folder / "backup.sqlite3"
        self.url = f"sqlite:///{self._file}"

    def back_up(self) -> None:
        with (
            closing(sqlite3.connect(self._file)) as source,
            closing(sqlite3.connect(self._backup)) as target,
        ):
            source.backup(target)

    def restore(self) -> None:
        for leftover in self._file.parent.glob(f"{self._file.name}-*"):
            leftover.unlink()
        shutil.copyfile(self._backup, self._file)


class PostgresStore:
    """A database of its own on a server that is there."""

    name = "PostgreSQL"

    def __init__(self, admin_url: str) -> None:
        self._admin_url = admin_url
        self._name = f"signfleet_faults_{uuid.uuid4().hex[:12]}"
        self._backup = f"{self._name}_backup"
        self.url = urlunsplit(urlsplit(admin_url)._replace(path=f"/{self._name}"))
        self._run(f'CREATE DATABASE "{self._name}"')

    def back_up(self) -> None:
        self._copy(self._name, self._backup)

    def restore(self) -> None:
        self._copy(self._backup, self._name)

    def drop(self) -> None:
        """Leave nothing behind."""
        for name in (self._name, self._backup):
            self._run(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def _copy(self, source: str, target: str) -> None:
        self._run(f'DROP DATABASE IF EXISTS "{target}" WITH (FORCE)')
        with self._connected() as connection:
            # Killed with their server, they may not have noticed yet.
            connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s",
                (source,),
            )
        self._run(f'CREATE DATABASE "{target}" TEMPLATE "{source}"')

    def _run(self, statement: str) -> None:
        with self._connected() as connection:
            connection.execute(statement)

    def _connected(self) -> psycopg.Connection[tuple[object, ...]]:
        return psycopg.connect(self._admin_url, autocommit=True)


def postgres_programs() -> Path | None:
    """Return where this machine's newest PostgreSQL is; ``None`` where it has none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@contextmanager
def postgres_cluster(programs: Path) -> Iterator[str]:
    """Start a PostgreSQL of the run's own and yield its address; it is thrown away after."""
    port = free_port()
    as_postgres = []
    if Path("/proc/self").stat().st_uid == 0:  # it refuses to run for root
        as_postgres = ["runuser", "-u", "postgres", "--"]
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as home:
        if as_postgres:
            shutil.chown(home, "postgres", "postgres")
        data = f"{home}/data"

        def run(program: str, *arguments: str) -> None:
            command = [*as_postgres, str(programs / program), "-D", data, *arguments]
            subprocess.run(command, cwd="/", check=True, stdout=subprocess.DEVNULL)

        run("initdb", "-U", "postgres", "-E", "UTF8", "--locale=C.UTF-8", "--auth=trust")
        options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={home}"
        run("pg_ctl", "-l", f"{home}/log", "-w", "-o", options, "start")
        try:
            yield f"postgres://postgres@127.0.0.1:{port}/postgres"
        finally:
            run("pg_ctl", "-m", "immediate", "stop")

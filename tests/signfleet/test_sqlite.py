"""
The SQLite backend: what is in force, what goes round, and who may write.

The versions come from SQLite's release notes: the WAL-reset race is in 3.7.0 to 3.51.2 and
mended in 3.51.3.
"""

import datetime
import decimal
import platform
import subprocess
import sys
import uuid
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import (
    DataError,
    IntegrityError,
    OperationalError,
    connections,
    models,
    transaction,
)
from django.db.models import Avg, StdDev, Value
from django.db.models.functions import Concat, Ln, Sqrt
from django.test.utils import isolate_apps

from signfleet.sqlite import one_process
from signfleet.sqlite.base import DatabaseWrapper, _use_write_ahead_log
from signfleet.sqlite.checks import OLD_LIBRARY, check_library_version, check_version
from signfleet.sqlite.library import connect, is_safe_for_several_processes, library

ROOT = Path(__file__).resolve().parents[2]
ALIAS = "probe"
OLD = (3, 40, 1)

several_processes = pytest.mark.skipif(
    not is_safe_for_several_processes(library.sqlite_version_info),
    reason="there is no pysqlite3 wheel for this platform, so one process writes",
)

WRITER = """
import sys

import django
from django.conf import settings

path, times = sys.argv[1], int(sys.argv[2])
settings.configure(DATABASES={"default": {"ENGINE": "signfleet.sqlite", "NAME": path}})
django.setup()

import threading

from django.db import connection, transaction


def count_up():
    for _ in range(times):
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT total FROM counter")
            (total,) = cursor.fetchone()
            cursor.execute("UPDATE counter SET total = %s", [total + 1])
    connection.close()


threads = [threading.Thread(target=count_up) for _ in range(int(sys.argv[3]))]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
"""

OPENER = """
import sys

import django
from django.conf import settings

settings.configure(DATABASES={"default": {"ENGINE": "signfleet.sqlite", "NAME": sys.argv[1]}})
django.setup()

from django.db import connection

type(connection._connections[connection._alias]).library_version = (3, 40, 1)
with connection.cursor() as cursor:
    cursor.execute("SELECT 1")
print("open", flush=True)
sys.stdin.read()
"""


def run_python(script: str, *arguments: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-c", script, *arguments],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture
def database(tmp_path, django_db_blocker):
    """A database of its own in a file, whatever engine the test run is on."""
    template = connections.configure_settings(
        {
            "default": {},
            ALIAS: {"ENGINE": "signfleet.sqlite", "NAME": str(tmp_path / "p.sqlite3")},
        }
    )
    wrapper = DatabaseWrapper(template[ALIAS], ALIAS)
    with django_db_blocker.unblock():
        connections[ALIAS] = wrapper
        yield wrapper
        wrapper.close()
        del connections[ALIAS]


@pytest.fixture
def face(database):
    """A table with one column of each kind that could be stored wrongly."""
    with isolate_apps("inventory"):

        class Face(models.Model):
            code = models.CharField(max_length=20, unique=True)
            ra = models.DecimalField(max_digits=7, decimal_places=3, null=True)
            made_on = models.DateField(null=True)
            read_at = models.DateTimeField(null=True)
            lit = models.BooleanField(null=True)
            key = models.UUIDField(null=True)
            notes = models.JSONField(null=True)
            level = models.FloatField(null=True)
            plaque_of = models.ForeignKey("self", models.PROTECT, null=True)

            class Meta:
                app_label = "inventory"
                constraints = (
                    models.CheckConstraint(
                        condition=models.Q(level__gte=0), name="level_not_negative"
                    ),
                )

            def __str__(self):
                return self.code

        with database.schema_editor() as editor:
            editor.create_model(Face)
        yield Face


def pragma(database, name):
    with database.cursor() as cursor:
        cursor.execute(f"PRAGMA {name}")
        return cursor.fetchone()[0]


def test_the_library_in_force_is_the_one_without_the_race(database):
    with database.cursor() as cursor:
        cursor.execute("SELECT sqlite_version()")
        assert cursor.fetchone()[0] == library.sqlite_version
    assert database.get_database_version() == library.sqlite_version_info
    if sys.platform == "linux" and platform.machine() == "x86_64":
        assert library.__name__ == "pysqlite3.dbapi2"
        assert library.sqlite_version_info >= (3, 51, 3)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),  # FULL (sqlite.org/pragma.html#pragma_synchronous)
        ("foreign_keys", 1),
        ("mmap_size", 0),
        ("busy_timeout", 20_000),  # milliseconds
        ("legacy_alter_table", 0),
    ],
)
def test_every_connection_has_the_safe_settings(database, name, value):
    assert pragma(database, name) == value
    database.close()
    assert pragma(database, name) == value


def test_a_transaction_takes_its_turn_to_write_when_it_begins(database):
    with database.cursor() as cursor:
        cursor.execute("CREATE TABLE t (a)")
    seen = []

    def watch(run, sql, *rest):
        seen.append(sql)
        return run(sql, *rest)

    with database.execute_wrapper(watch), transaction.atomic(using=ALIAS):
        pass
    assert seen == ["BEGIN IMMEDIATE"]


def test_values_come_back_as_they_were_stored(face):
    read_at = datetime.datetime(2026, 3, 1, 23, 59, 59, 250_000, tzinfo=datetime.UTC)
    stored = {
        "code": "R1-1",
        "ra": decimal.Decimal("35.100"),
        "made_on": datetime.date(2014, 2, 28),
        "read_at": read_at,
        "lit": False,
        "key": uuid.UUID("6f1c3a8e-92a1-4a44-8d57-0d0c3b7d1a11"),
        "notes": {"damage": ["bent", "grün ×"], "count": 2},
        "level": 0.1 + 0.2,
    }
    face.objects.using(ALIAS).create(**stored)
    again = face.objects.using(ALIAS).get(**{k: v for k, v in stored.items() if k != "notes"})
    assert {name: getattr(again, name) for name in stored} == stored
    assert type(again.lit) is bool
    assert str(again.ra) == "35.100"


def test_unknown_stays_unknown(face):
    face.objects.using(ALIAS).create(code="R1-1")
    again = face.objects.using(ALIAS).get()
    assert (again.ra, again.made_on, again.lit, again.level) == (None, None, None, None)


def test_patterns_aggregates_and_functions_work(face):
    rows = face.objects.using(ALIAS)
    rows.bulk_create(
        [
            face(code=f"W1-{place}", level=level)
            for place, level in enumerate((2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0))
        ]
    )
    assert rows.filter(code__regex=r"^W1-[0-3]$").count() == 4
    assert rows.filter(code__regex=r"^w1").count() == 0
    assert rows.filter(code__iregex=r"^w1-7$").count() == 1
    summary = rows.aggregate(mean=Avg("level"), spread=StdDev("level"))
    # A textbook set: mean 5, population standard deviation 2 (from memory).
    assert summary == {"mean": 5.0, "spread": 2.0}
    named = rows.annotate(
        label=Concat("code", Value("/a")), root=Sqrt("level"), log=Ln("level")
    )
    assert named.get(code="W1-7").root == 3.0
    assert named.get(code="W1-7").label == "W1-7/a"


def test_more_values_than_one_statement_holds_are_sent_in_parts(face):
    rows = face.objects.using(ALIAS)
    rows.bulk_create([face(code=f"D3-{n}") for n in range(3_000)])
    codes = [f"D3-{n}" for n in range(3_000)]
    assert len(rows.in_bulk(codes, field_name="code")) == 3_000


def test_the_connection_knows_the_limits_it_was_built_with(database):
    with database.cursor() as cursor:
        cursor.execute("PRAGMA compile_options")
        options = dict(row[0].partition("=")[::2] for row in cursor.fetchall())
    database.ensure_connection()
    wanted = int(options.get("MAX_VARIABLE_NUMBER", 32_766))
    assert database.connection.getlimit(9) == wanted  # SQLITE_LIMIT_VARIABLE_NUMBER
    assert database.connection.getlimit(2) == 2_000  # SQLITE_LIMIT_COLUMN


def test_a_part_that_fails_is_taken_back_and_the_rest_stays(face):
    rows = face.objects.using(ALIAS)

    @transaction.atomic(using=ALIAS)
    def create_both(*codes):
        for code in codes:
            rows.create(code=code)

    with transaction.atomic(using=ALIAS):
        rows.create(code="kept")
        with pytest.raises(IntegrityError):
            create_both("lost", "kept")
    assert list(rows.values_list("code", flat=True)) == ["kept"]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"code": "again"}, "UNIQUE"),
        ({"code": "new", "level": -1.0}, "CHECK"),
        ({"code": "new", "plaque_of_id": 999}, "FOREIGN KEY"),
    ],
)
def test_a_broken_rule_of_the_database_is_djangos_error(face, row, words):
    rows = face.objects.using(ALIAS)
    rows.create(code="again")
    with pytest.raises(IntegrityError, match=words), transaction.atomic(using=ALIAS):
        rows.create(**row)


def test_other_failures_are_djangos_errors_too(database):
    with pytest.raises(OperationalError, match="no such table"), database.cursor() as cursor:
        cursor.execute("SELECT * FROM nowhere")
    with pytest.raises((DataError, OverflowError)), database.cursor() as cursor:
        cursor.execute("SELECT %s", [2**70])


def test_names_and_places_both_fill_a_statement(database):
    with database.cursor() as cursor:
        cursor.execute("SELECT %(size)s || '%%'", {"size": "30"})
        assert cursor.fetchone()[0] == "30%"
        cursor.execute("CREATE TABLE t (a, b)")
        cursor.executemany("INSERT INTO t VALUES (%s, %s)", iter([(1, 2), (3, 4)]))
        cursor.executemany("INSERT INTO t VALUES (%(a)s, %(b)s)", [{"a": 5, "b": 6}])
        cursor.execute("SELECT a + b FROM t ORDER BY a")
        assert [row[0] for row in cursor.fetchall()] == [3, 7, 11]


@several_processes
def test_two_processes_writing_at_once_lose_nothing_and_are_never_locked_out(database):
    with database.cursor() as cursor:
        cursor.execute("CREATE TABLE counter (total INTEGER)")
        cursor.execute("INSERT INTO counter VALUES (0)")
    writers = [run_python(WRITER, database.settings_dict["NAME"], "50", "3") for _ in range(2)]
    for writer in writers:
        _out, errors = writer.communicate(timeout=120)
        assert (writer.returncode, errors) == (0, "")
    with database.cursor() as cursor:
        cursor.execute("SELECT total FROM counter")
        assert cursor.fetchone()[0] == 2 * 3 * 50
        cursor.execute("PRAGMA integrity_check")
        assert cursor.fetchone()[0] == "ok"


@several_processes
def test_two_processes_may_open_a_new_database_together(tmp_path):
    script = WRITER.replace("def count_up", "connection.ensure_connection()\n\ndef count_up")
    path = str(tmp_path / "new.sqlite3")
    openers = [run_python(script, path, "0", "1") for _ in range(4)]
    for opener in openers:
        _out, errors = opener.communicate(timeout=120)
        assert (opener.returncode, errors) == (0, "")


@pytest.mark.parametrize(
    ("version", "safe"),
    [((3, 40, 1), False), ((3, 51, 2), False), ((3, 51, 3), True), ((3, 53, 4), True)],
)
def test_the_first_safe_version_is_the_one_that_mended_the_race(version, safe):
    assert is_safe_for_several_processes(version) is safe
    assert [warning.id for warning in check_version(version)] == ([] if safe else [OLD_LIBRARY])


def test_the_system_check_looks_at_the_library_in_force():
    assert list(check_library_version(None)) == list(check_version(library.sqlite_version_info))


def test_an_old_library_lets_one_process_only_open_the_database(tmp_path):
    path = tmp_path / "old.sqlite3"
    first = run_python(OPENER, str(path))
    assert first.stdout is not None
    assert first.stdout.readline() == "open\n"
    second = run_python(OPENER, str(path))
    _out, errors = second.communicate(timeout=60)
    assert second.returncode != 0
    sentence = errors.strip().splitlines()[-1]
    assert f"{path} is open in process {first.pid}" in sentence
    assert "SQLite 3.40.1" in sentence
    assert "Stop the other process first" in sentence
    assert "DATABASE_URL=postgres://" in sentence
    # The lock ends with its process, however that ends.
    first.kill()
    first.communicate(timeout=60)
    third = run_python(OPENER, str(path))
    out, _errors = third.communicate(input="", timeout=60)
    assert (third.returncode, out) == (0, "open\n")


def test_the_one_process_may_open_its_database_again_and_is_warned_once(tmp_path, caplog):
    path = str(tmp_path / "mine.sqlite3")
    one_process.claim(path, OLD)
    one_process.claim(path, OLD)
    assert len(caplog.records) == 1
    assert "SQLite 3.40.1 is older than 3.51.3" in caplog.text


def test_a_forked_child_is_another_process(tmp_path):
    script = """
import os, sys
from signfleet.sqlite import one_process
from django.core.exceptions import ImproperlyConfigured
one_process.claim(sys.argv[1], (3, 40, 1))
child = os.fork()
if child == 0:
    try:
        one_process.claim(sys.argv[1], (3, 40, 1))
    except ImproperlyConfigured:
        os._exit(7)
    os._exit(0)
print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
"""
    out, _errors = run_python(script, str(tmp_path / "p.sqlite3")).communicate(timeout=60)
    assert out == "7\n"


def test_a_place_that_cannot_keep_a_log_is_refused_with_the_reason():
    # A database in memory is such a place: SQLite keeps its journal in memory too.
    with pytest.raises(ImproperlyConfigured, match="Put the database on a local disk"):
        _use_write_ahead_log(connect(database=":memory:"), {"database": "x", "timeout": 1})

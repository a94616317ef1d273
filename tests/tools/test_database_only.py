"""The second engine's leg leaves out what touches no database, and nothing that might."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).resolve().parents[2]

# Fixtures of pytest-django's names, behind one of the suite's own as kept worlds are.
CONFTEST = """
import pytest

@pytest.fixture(scope="session")
def django_db_setup():
    pass

@pytest.fixture
def db():
    pass

@pytest.fixture(scope="module")
def world(django_db_setup):
    pass

@pytest.fixture
def client_of_the_agency(world):
    pass

@pytest.fixture
def figure():
    return 3
"""

SUITE = """
import unittest

import pytest

def test_of_arithmetic():
    pass

@pytest.mark.parametrize("size", [1, 2])
def test_of_a_plain_fixture(figure, size):
    pass

@pytest.mark.django_db
def test_marked():
    pass

def test_asks_for_it(db):
    pass

def test_behind_two_fixtures(client_of_the_agency):
    pass

@pytest.mark.usefixtures("db")
def test_uses_it():
    pass

def test_by_name(request):
    request.getfixturevalue("db")

@pytest.mark.postgres
def test_of_an_engine():
    pass

@pytest.mark.faults
def test_of_servers():
    pass

class TestCase(unittest.TestCase):
    def test_of_a_case(self):
        pass
"""
TOUCHING = {
    "test_marked",
    "test_asks_for_it",
    "test_behind_two_fixtures",
    "test_uses_it",
    "test_by_name",
    "test_of_an_engine",
    "test_of_servers",
    "test_of_a_case",
}
OTHERS = {
    "test_of_arithmetic",
    "test_of_a_plain_fixture[1]",
    "test_of_a_plain_fixture[2]",
}


@pytest.fixture
def passed(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., set[str]]:
    """Give what runs the suite in a pytest of its own: the names of the tests that ran."""
    pytester.makeini("[pytest]\nmarkers =\n    django_db: x\n    postgres: x\n    faults: x\n")
    pytester.makeconftest(CONFTEST)
    pytester.makepyfile(test_suite=SUITE)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))

    def run(*options: str) -> set[str]:
        result = pytester.runpytest_subprocess(
            "-p", "tests.database_only", "-p", "no:django", "-v", "--color=no", *options
        )
        assert result.ret == pytest.ExitCode.OK
        lines = [line for line in result.outlines if "PASSED" in line]
        return {line.split("::")[-1].split(" ")[0] for line in lines}

    return run


def test_what_touches_no_database_is_left_out_when_asked(passed: Callable[..., set[str]]):
    assert passed("--database-only") == TOUCHING


def test_everything_runs_otherwise(passed: Callable[..., set[str]]):
    assert passed() == TOUCHING | OTHERS

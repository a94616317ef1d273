"""
``--database-only``: run what touches the database, leave the rest to the other leg.

A test that asks no database says the same whichever engine is named, so the second engine's
leg does not repeat it. The rule is automatic and errs by running: left out is only a test with
no database mark, no database fixture anywhere among its fixtures, that is no ``TestCase`` and
does not take ``request`` (it could ask for a fixture by name). A pytest plugin without Django,
so that it can be tested by running pytest inside pytest.
"""

from __future__ import annotations

import pytest

# Whatever fixture they stand behind. Not ``django_db_blocker``: that is behind every test.
FIXTURES = frozenset(
    {
        "db",
        "transactional_db",
        "django_db_setup",
        "django_db_reset_sequences",
        "django_db_serialized_rollback",
        "live_server",
        "migrated_file",
    }
)
# About an engine or about servers of their own: they may find their database by themselves.
MARKS = ("django_db", "postgres", "faults")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option."""
    parser.addoption(
        "--database-only",
        action="store_true",
        help="run only tests that touch the database (for a second engine)",
    )


def touches_the_database(item: pytest.Item) -> bool:
    """Return whether a test may ask the database."""
    if any(item.get_closest_marker(name) is not None for name in MARKS):
        return True
    if isinstance(item, pytest.Function) and _is_test_case(item):
        return True
    asked = set(getattr(item, "fixturenames", ()))
    # Who takes ``request`` in the test itself can ask for any fixture by name.
    own = set(getattr(getattr(item, "_fixtureinfo", None), "argnames", ()))
    return bool(FIXTURES & asked) or "request" in own


def _is_test_case(item: pytest.Function) -> bool:
    """Return whether a test is a method of a ``unittest.TestCase``, as Django's are."""
    return any(
        each.__module__.startswith("unittest") for each in getattr(item.cls, "__mro__", ())
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what touches no database, if that was asked."""
    if not config.getoption("--database-only"):
        return
    kept = [item for item in items if touches_the_database(item)]
    left = [item for item in items if not touches_the_database(item)]
    config.hook.pytest_deselected(items=left)
    items[:] = kept

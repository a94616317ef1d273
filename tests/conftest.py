"""What every test stands on: the settings, the database, and what may be left out."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from django.conf import settings
from django.db import connections
from django.test import override_settings
from hypothesis import HealthCheck
from hypothesis import settings as property_settings

from tests.migrated import migrated_once

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytest_plugins = ["tests.left_out", "tests.database_only", "pytester"]

# No test is judged by the clock of a busy machine; CI tries the same examples every time.
property_settings.register_profile(
    "signfleet",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("CI")),
)
property_settings.load_profile("signfleet")


@pytest.fixture(scope="session", autouse=True)
def _site_settings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """
    Set what a test machine has otherwise than a deployment.

    No TLS in front, static files straight from their folders, photos in a temporary
    folder, and a password hash that costs nothing.
    """
    changed = {
        "BEHIND_TLS": False,
        "SECURE_SSL_REDIRECT": False,
        "SESSION_COOKIE_SECURE": False,
        "CSRF_COOKIE_SECURE": False,
        "ALLOWED_HOSTS": ["*"],
        "MEDIA_ROOT": tmp_path_factory.mktemp("media"),
        "PASSWORD_HASHERS": ["django.contrib.auth.hashers.MD5PasswordHasher"],
        "STORAGES": {
            **settings.STORAGES,
            "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
        },
        # Static files straight from their folders, without a collecting step.
        "WHITENOISE_AUTOREFRESH": True,
        "WHITENOISE_USE_FINDERS": True,
    }
    # Not by setting attributes: what Django keeps of the old values must be dropped too.
    with override_settings(**changed):
        yield


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Put the test database of SQLite in a file: the races are about files."""
    if connections["default"].vendor == "sqlite":
        place: Path = tmp_path_factory.mktemp("database") / "test.sqlite3"
        connections["default"].settings_dict["TEST"]["NAME"] = str(place)


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an SQLite file as ``manage.py migrate`` leaves it; copy it, never change it."""
    folder = tmp_path_factory.getbasetemp()
    return migrated_once(folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """
    Leave the tests that are about one engine to that engine's leg.

    In CI a browser test that fails is run once more, and counted as rerun: a real browser on a
    crowded machine is slow now and then, and one of a hundred such tests stops a whole run. So
    is a test of faults, and any test that stood still until its time was over.
    """
    vendor = connections["default"].vendor
    other = pytest.mark.skip(reason="only PostgreSQL can show this")
    for item in items:
        if vendor != "postgresql" and item.get_closest_marker("postgres") is not None:
            item.add_marker(other)
        if os.environ.get("CI"):
            depends_on_time = any(map(item.get_closest_marker, ("browser", "faults")))
            why = {} if depends_on_time else {"only_rerun": ["Timeout"]}
            item.add_marker(pytest.mark.flaky(reruns=1, **why))

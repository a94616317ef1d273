"""
Says loudly which tests were left out, and why; under ``CI=true`` a left-out test fails.

A pytest plugin without Django, so that it can be tested by running pytest inside pytest.
"""

from __future__ import annotations

import os
import shutil
from collections import Counter
from pathlib import Path

import pytest

CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")
NO_CHROMIUM = "there is no Chromium on this machine (apt-get install chromium)"

# Beginnings of the reasons that are not failures in CI: what is deliberately no part of the
# repository, and what the other database leg runs.
ALLOWED_REASONS = (
    "the shared inventory file is not on this machine",
    "the bench instances are not on this machine",
    "only PostgreSQL can show this",
    "only SQLite can show this",
)

_left_out = pytest.StashKey[Counter[str]]()


def find_chromium() -> str | None:
    """Return the path of the system's Chromium: ``CHROMIUM``, or the first on the path."""
    named = os.environ.get("CHROMIUM")
    if named:
        return named if Path(named).is_file() else None
    return next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)


def is_allowed(reason: str) -> bool:
    """Return whether CI accepts a test left out for this reason."""
    return reason.startswith(ALLOWED_REASONS)


def pytest_configure(config: pytest.Config) -> None:
    """Start the count."""
    config.stash[_left_out] = Counter()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave out the browser tests where there is no Chromium."""
    if find_chromium() is not None:
        return
    for item in items:
        if item.get_closest_marker("browser") is not None:
            item.add_marker(pytest.mark.skip(reason=NO_CHROMIUM))


class _Recorder:
    """Counts what was left out, module by module and test by test."""

    def __init__(self, counts: Counter[str]) -> None:
        self.counts = counts

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.skipped and not hasattr(report, "wasxfail"):
            self.counts[_reason(report)] += 1

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.skipped:
            self.counts[_reason(report)] += 1


def _reason(report: pytest.TestReport | pytest.CollectReport) -> str:
    """Return the reason of a skip, as it was written."""
    text = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return text.removeprefix("Skipped: ")


def pytest_sessionstart(session: pytest.Session) -> None:
    """Listen to the reports from here on."""
    session.config.pluginmanager.register(_Recorder(session.config.stash[_left_out]))


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Under CI, a test left out for a reason that is not allowed fails the run."""
    if _is_ci() and _refused(session.config) and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Print what was left out, where nobody can miss it."""
    counts = config.stash[_left_out]
    if not counts:
        return
    terminalreporter.write_sep("!", "LEFT OUT", red=True, bold=True)
    for reason, count in sorted(counts.items()):
        tests = "1 test or module" if count == 1 else f"{count} tests or modules"
        terminalreporter.write_line(f"{tests} did not run: {reason}", red=True, bold=True)
    if _is_ci() and _refused(config):
        terminalreporter.write_line(
            "CI=true: a left-out test is a failure.", red=True, bold=True
        )


def _refused(config: pytest.Config) -> list[str]:
    """Return the reasons that CI does not accept."""
    return [reason for reason in config.stash[_left_out] if not is_allowed(reason)]


def _is_ci() -> bool:
    """Return whether this run is CI's."""
    return os.environ.get("CI", "").lower() in ("true", "1")

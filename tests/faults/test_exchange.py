"""The exchange through every fault, in small; ``make faults`` does it in full."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from tests.faults.proxy import RATES, SERVER_GONE, UNTOUCHED
from tests.faults.run import run_faults
from tests.faults.site import KILL_SERVER, KILL_WORKER
from tests.faults.stores import PostgresStore, SqliteStore

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.faults.stores import Store

pytestmark = pytest.mark.faults
OPERATIONS = 1_000
ANSWERS_A_KILL = 60  # fewer than in a full run: a start takes seconds


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A database of the run's own, of the kind that the tests run on."""
    url = os.environ.get("DATABASE_URL", "")
    if not url.startswith("postgres"):
        yield SqliteStore(tmp_path)
        return
    database = PostgresStore(url)
    yield database
    database.drop()


# Issue 4: lost 0, doubled 0, invented 0; after an old backup was restored and 20 phones came
# back, everything acknowledged since is present exactly once.
def test_nothing_is_lost_doubled_or_invented_through_faults_and_a_restored_backup(
    store: Store, capsys: pytest.CaptureFixture[str]
):
    report = run_faults(store, OPERATIONS, answers_a_kill=ANSWERS_A_KILL)
    with capsys.disabled():
        print(f"\n{report.table()}")  # noqa: T201 - the table of faults is a result
    assert {what: found for what, found in report.losses.items() if found} == {}
    assert report.before_restore["operations"] >= OPERATIONS
    assert report.before_restore["signs_judged_anew"] == 0
    assert report.after_restore["signs_judged_anew"] == 0
    assert report.after_restore["operations"] == report.before_restore["operations"]
    assert report.after_restore["photos"] == report.before_restore["photos"] > 0
    assert report.acknowledged_since_backup > 0
    assert report.epochs == 2
    for fault in (*RATES, UNTOUCHED, SERVER_GONE, KILL_SERVER, KILL_WORKER):
        assert report.faults[fault], fault
    for state in ("applied", "refused", "discarded"):
        assert report.after_restore["states"][state], state

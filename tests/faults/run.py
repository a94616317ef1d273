"""One run: phones and server through all faults, a restored backup, and the reckoning."""

from __future__ import annotations

import json
import sys
import tempfile
import threading
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

from tests.faults.acts import Crew
from tests.faults.field_app import FieldApp
from tests.faults.phone import NoAnswerError, Phone, run_all
from tests.faults.proxy import FaultProxy
from tests.faults.site import Site

if TYPE_CHECKING:
    from tests.faults.stores import Store

PHONE_COUNT = 20  # of these, four run the field app's own code
APP_COUNT = 4
SEED = 20261125
# How far phones' clocks are out: most are right, one by a year, two by hours, one by minutes.
SKEWS = (timedelta(0),) * 6 + (timedelta(days=-366), timedelta(hours=3), timedelta(minutes=-7))
LARGEST_KILL_DELAY_S = 0.4
ANSWERS_A_KILL = 30  # on average
LOG_SHOWN = 6_000  # letters of the server's log, where a run breaks off


@dataclass(slots=True)
class Report:
    """What was done to a run, and what it left."""

    store: str
    seed: int
    faults: Counter[str] = field(default_factory=Counter)
    phones: Counter[str] = field(default_factory=Counter)
    before_restore: dict[str, Any] = field(default_factory=dict)
    after_restore: dict[str, Any] = field(default_factory=dict)
    errors: Counter[str] = field(default_factory=Counter)
    epochs: int = 0
    acknowledged_since_backup: int = 0

    @property
    def losses(self) -> dict[str, list[str]]:
        """Return everything that is not as it should be, by what is wrong; lists are empty."""
        wrong = ("lost", "doubled", "invented", "answered_otherwise")
        return {
            f"{when}: {what}": found[what]
            for when, found in (
                ("before the restore", self.before_restore),
                ("after the restore", self.after_restore),
            )
            for what in wrong
        }

    def table(self) -> str:
        """Return the run in lines of figures."""
        lines = [f"{self.store}, seed {self.seed}, {PHONE_COUNT} phones"]
        for title, counts in (
            ("Injected between phones and server", self.faults),
            ("On the phones", self.phones),
            ("Errors in the server's log", self.errors),
            ("Operations by kind", Counter(self.after_restore.get("kinds", {}))),
            ("Operations by state", Counter(self.after_restore.get("states", {}))),
        ):
            lines.append(f"  {title}")
            lines += [f"    {number:>8,}  {name}" for name, number in sorted(counts.items())]
        lines.append("  Left")
        for when, found in (
            ("before the restore", self.before_restore),
            ("after the restore", self.after_restore),
        ):
            lines.append(
                f"    {found['operations']:>8,}  operations {when}: "
                + ", ".join(
                    f"{what.replace('_', ' ')} {len(found[what])}"
                    for what in ("lost", "doubled", "invented", "answered_otherwise")
                )
                + f", verdicts out of date {found['signs_judged_anew']}; "
                f"{found['photos']} photos"
            )
        lines.append(
            f"    {self.acknowledged_since_backup:>8,}  acknowledged after the backup and "
            f"offered again; the phones saw {self.epochs} epochs"
        )
        return "\n".join(lines)


class Killer:
    """Kills the server a moment after some of its answers, while others are being made."""

    def __init__(self, site: Site, random: Random, counts: Counter[str], every: int) -> None:
        self._site = site
        self._random = random
        self._counts = counts
        self._every = every
        self._lock = threading.Lock()
        self._left = self._next()
        self._timers: list[threading.Timer] = []
        self._is_on = True
        self._trouble: Exception | None = None

    @property
    def trouble(self) -> Exception | None:
        """Return what went wrong with the server: a kill, or an end that was none."""
        return self._trouble or self._site.why_gone()

    def count(self) -> None:
        """Note that the server has just answered."""
        with self._lock:
            self._left -= 1
            if self._left > 0 or not self._is_on:
                return
            self._left = self._next()
            delay_s = self._random.random() * LARGEST_KILL_DELAY_S
            timer = threading.Timer(delay_s, self._kill)
            self._timers.append(timer)
            timer.start()

    def rest(self) -> None:
        """Kill no more until told to go on; what was begun is waited for."""
        with self._lock:
            self._is_on = False
        for each in self._timers:
            each.join()

    def go_on(self) -> None:
        """Kill again."""
        with self._lock:
            self._is_on = True

    def _kill(self) -> None:
        try:
            self._site.kill_somehow(self._random, self._counts)
        except Exception as trouble:  # noqa: BLE001 - of a thread: raised by the run
            self._trouble = trouble

    def _next(self) -> int:
        return self._random.randint(self._every // 2, self._every * 3 // 2)


def run_faults(
    store: Store, operations: int, seed: int = SEED, answers_a_kill: int = ANSWERS_A_KILL
) -> Report:
    """
    Send so many operations from 20 phones through every fault; restore a backup; compare.

    The backup is taken with the server down, when half of the operations are through.
    """
    report = Report(store.name, seed)
    with tempfile.TemporaryDirectory() as folder:
        site = Site(store, Path(folder))
        site.run("manage.py", "migrate", "--no-input", "--verbosity", "0")
        world = json.loads(site.run("-m", "tests.faults.world", str(PHONE_COUNT)))
        outboxes = Path(folder) / "outboxes"
        outboxes.mkdir()
        try:
            _run(site, store, world, outboxes, operations, answers_a_kill, report)
        except BaseException:
            log = site.log.read_text(encoding="utf-8", errors="replace")
            print(f"{dict(report.faults)}\n{log[-LOG_SHOWN:]}", file=sys.stderr)  # noqa: T201
            raise
        finally:
            site.close()
        report.errors.update(site.errors())
    return report


def _run(
    site: Site,
    store: Store,
    world: dict[str, Any],
    outboxes: Path,
    operations: int,
    answers_a_kill: int,
    report: Report,
) -> None:
    site.start()
    each = -(-operations // PHONE_COUNT)
    killer = Killer(site, _random(report, "kills"), report.faults, answers_a_kill)
    proxy = FaultProxy(
        ("127.0.0.1", site.port), _random(report, "network"), on_answer=killer.count
    )
    phones = [
        Phone(
            Crew(
                _random(report, f"crew {number}"),
                world,
                known["user_id"],
                SKEWS[number % len(SKEWS)],
            ),
            _random(report, f"phone {number}"),
            outboxes / f"{number}.jsonl",
            proxy.address,
            known["key"],
        )
        for number, known in enumerate(world["phones"][APP_COUNT:])
    ]
    app = FieldApp(world, world["phones"][:APP_COUNT], proxy.address, outboxes.parent)
    try:
        run_all([*phones, app], each // 2, killer)
        killer.rest()
        site.kill()
        store.back_up()
        site.start()
        killer.go_on()
        answered = {key for phone in phones for key in phone.outbox.operations}
        run_all([*phones, app], each, killer)
        killer.rest()
        proxy.close()
        report.faults.update(proxy.counts)
        _catch_up(phones, app, site)
        report.before_restore = _reckon(site, app, outboxes, world)
        report.acknowledged_since_backup = sum(
            key not in answered for phone in phones for key in phone.outbox.operations
        )
        site.kill()
        store.restore()
        site.start()
        _catch_up(phones, app, site)
        report.after_restore = _reckon(site, app, outboxes, world)
        report.phones["tried again, in the field app"] = app.write(outboxes)
    finally:
        app.close()
    for phone in phones:
        report.phones.update(phone.counts)
    report.epochs = len(
        {*app.epochs, *(each for phone in phones for each in phone.outbox.epochs)}
    )


def _catch_up(phones: list[Phone], app: FieldApp, site: Site) -> None:
    """Let phones send and ask, without faults, until none learns of another epoch."""
    app.address = ("127.0.0.1", site.port)
    for phone in phones:
        phone.address = app.address
    while True:
        before = [phone.outbox.epoch for phone in phones]
        run_all([*phones, app], 0)
        for phone in phones:
            _ask(phone)
        app.check_in()
        has_news = before != [phone.outbox.epoch for phone in phones]
        if not has_news and not any(phone.outbox.offered() for phone in phones):
            return


def _ask(phone: Phone) -> None:
    while True:
        try:
            phone.ask_after_open_ones()
        except NoAnswerError:
            continue
        return


def _reckon(site: Site, app: FieldApp, outboxes: Path, world: dict[str, Any]) -> dict[str, Any]:
    app.write(outboxes)
    printed = site.run("-m", "tests.faults.ledger", str(outboxes), str(world["signs_before"]))
    found: dict[str, Any] = json.loads(printed)
    return found


def _random(report: Report, what: str) -> Random:
    """Return a source of its own for each part, so that threads do not share one."""
    return Random(f"{report.seed} {what}")  # noqa: S311 - faults to inject, no secret

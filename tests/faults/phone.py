"""A phone in the field: it saves first, sends when it can, and tries again until answered."""

from __future__ import annotations

import gzip
import http.client
import json
import threading
import time
from collections import Counter
from typing import TYPE_CHECKING, Any, Protocol

from tests.faults.outbox import Outbox

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from random import Random

    from tests.faults.acts import Crew
    from tests.faults.outbox import Recorded

LONGEST_ANSWER_S = 150.0
FIRST_WAIT_S, LONGEST_WAIT_S = 0.02, 1.0
LONGEST_ROUND_S, LONGEST_OPERATION_S = 240.0, 4.0  # several times what a slow machine takes
LARGEST_BATCH = 60
MOST_ASKED = 500
DIES_WHILE_SAVING = 0.01
DIES = 0.02
NO_SIGNAL = 0.6
PERMANENT = (400, 401, 403, 404, 405, 409, 411, 413, 415)


class NoAnswerError(Exception):
    """Nothing that can be relied on came back."""


class Phone:
    """One phone and its crew; ``run`` records so many operations and sends them all."""

    def __init__(
        self, crew: Crew, random: Random, path: Path, address: tuple[str, int], key: str
    ) -> None:
        self.crew = crew
        self.random = random
        self.outbox = Outbox(path)
        self.address = address
        self.authorization = f"Device {key}"
        self.counts: Counter[str] = Counter()
        self.trouble: Exception | None = None
        self._settled: set[str] = set()

    def run(self, wanted: int, stop: threading.Event) -> None:
        """Record and send until ``wanted`` operations are saved and every one is answered."""
        tries = 0
        try:
            while not stop.is_set():
                has_all = self.crew.counted >= wanted
                if not has_all:
                    self._record_some()
                    if self.random.random() < NO_SIGNAL:
                        continue
                if not self.outbox.offered():
                    if has_all and not self._settle_refused():
                        return
                    continue
                try:
                    self.send(self._batch())
                    tries = 0
                except NoAnswerError:
                    tries += 1
                    self.counts["tried again"] += 1
                    wait_s = min(FIRST_WAIT_S * 2**tries, LONGEST_WAIT_S)
                    stop.wait(wait_s * self.random.uniform(0.5, 1.0))
                if self.random.random() < DIES:
                    self.counts["phone killed"] += 1
                    self._open_again()
        except Exception as trouble:  # noqa: BLE001 - of a thread: raised by the run
            self.trouble = trouble
            stop.set()

    def send(self, batch: list[Recorded], ask: list[str] | None = None) -> dict[str, Any]:
        """Send a batch and keep what is answered."""
        last = self.outbox.last_acknowledged()
        body = {
            "app_version": "for tests",
            "sent_at": self.crew.now().isoformat(),
            "epoch": self.outbox.epoch,
            "last_acknowledged": last
            and {"client_uuid": last.client_uuid, "sha256": last.sha256},
            "operations": [each.as_sent() for each in batch],
            "ask": ask or [],
        }
        answer = self._post(json.dumps(body).encode())
        known = [*answer["answers"], *answer["news"]]
        self.counts["batches answered"] += 1
        self.outbox.note_answers(known, answer["epoch"])
        return answer

    def ask_after_open_ones(self) -> None:
        """Ask what became of what waits or was refused; a person may have settled it."""
        open_ones = [
            each.client_uuid
            for each in self.outbox.operations.values()
            if each.answer["answer"] in ("held", "refused")
        ]
        for at in range(0, len(open_ones) or 1, MOST_ASKED):
            self.send([], open_ones[at : at + MOST_ASKED])

    def _record_some(self) -> None:
        for _ in range(self.random.randint(1, 12)):
            if self.random.random() < DIES_WHILE_SAVING:
                self.counts["phone killed while saving"] += 1
                before = self.crew.sequence
                self.outbox.die_in_the_middle_of_saving(self.crew.draw()[0])
                self.crew.counted -= self.crew.sequence - before
                self._open_again()
                return
            for each in self.crew.draw():
                self.outbox.save(each)

    def _settle_refused(self) -> bool:
        """Resend corrected, or discard, what was refused; return whether there was any."""
        found = [
            each
            for each in self.outbox.operations.values()
            if each.answer["answer"] == "refused"
            and each.kind != "discard"
            and each.client_uuid not in self._settled
        ]
        for each in found:
            self._settled.add(each.client_uuid)
            self.outbox.save(self.crew.settle(each))
        return bool(found)

    def _open_again(self) -> None:
        """Forget everything but the file, as a phone that was killed and started again."""
        self.outbox = Outbox(self.outbox.path)

    def _batch(self) -> list[Recorded]:
        """Return the oldest that wait; now and then shuffled, or with answered ones again."""
        batch = self.outbox.offered()[: self.random.randint(1, LARGEST_BATCH)]
        if self.random.random() < 0.1:
            self.counts["batch out of order"] += 1
            self.random.shuffle(batch)
        return batch

    def _post(self, body: bytes) -> dict[str, Any]:
        headers = {
            "Authorization": self.authorization,
            "Content-Type": "application/json",
            "Connection": "close",
        }
        if self.random.random() < 0.5:
            body = gzip.compress(body)
            headers["Content-Encoding"] = "gzip"
        connection = http.client.HTTPConnection(*self.address, timeout=LONGEST_ANSWER_S)
        try:
            connection.request("POST", "/api/v1/operations", body, headers)
            response = connection.getresponse()
            text = response.read()
        except (OSError, http.client.HTTPException) as error:
            raise NoAnswerError from error
        finally:
            connection.close()
        if response.status in PERMANENT:
            msg = f"The server answered {response.status}: {text[:500]!r}"
            raise AssertionError(msg)
        if response.status != 200:
            self.counts[f"answered {response.status}"] += 1
            raise NoAnswerError
        try:
            answer: dict[str, Any] = json.loads(text)
        except ValueError as error:  # cut off within its head, it looks like a whole one
            raise NoAnswerError from error
        return answer


class Trouble(Protocol):
    """What may go wrong, and must end the run."""

    @property
    def trouble(self) -> Exception | None:
        """Return what went wrong, if anything did."""


class Runner(Trouble, Protocol):
    """A phone, or several together."""

    def run(self, wanted: int, stop: threading.Event) -> None:
        """Record up to so many operations on each, and send everything."""


def run_all(phones: Sequence[Runner], wanted: int, *others: Trouble) -> None:
    """
    Let phones work at once, each in a thread of its own, until all is sent.

    Phones that get nowhere for too long are an error: what they were answered is told.
    """
    stop = threading.Event()
    begun, longest_s = time.monotonic(), LONGEST_ROUND_S + LONGEST_OPERATION_S * wanted
    threads = [
        threading.Thread(target=each.run, args=(wanted, stop), daemon=True) for each in phones
    ]
    for thread in threads:
        thread.start()
    troubles: list[Exception] = []
    while any(thread.is_alive() for thread in threads) and not troubles:
        time.sleep(0.05)
        troubles = [each.trouble for each in (*others, *phones) if each.trouble is not None]
        if time.monotonic() - begun > longest_s and not troubles:
            troubles = [_stuck(phones, threads, longest_s)]
    stop.set()
    if troubles:
        raise troubles[0]


def _stuck(
    phones: Sequence[Runner], threads: Sequence[threading.Thread], longest_s: float
) -> Exception:
    """Return which phones are not through, and what became of what they sent."""
    told = [
        f"{number}: {dict(getattr(phone, 'counts', {}))}"
        for number, (phone, thread) in enumerate(zip(phones, threads, strict=True))
        if thread.is_alive()
    ]
    return RuntimeError(f"Not through after {longest_s:.0f} s: " + "; ".join(told))

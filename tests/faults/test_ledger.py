"""The reckoning of a run of faults finds what is lost, doubled, invented or told otherwise."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection
from django.utils import timezone

from inventory.models import Device, Instrument, Organisation, Reading, Sign
from inventory.services.exchange.content import Batch, Sent
from inventory.services.exchange.receive import receive_batch
from inventory.services.instruments import record_check
from tests.faults.acts import Crew
from tests.faults.ledger import compare
from tests.faults.outbox import Outbox, Recorded
from tests.faults.world import make_world

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.django_db
WRONG = ("lost", "doubled", "invented", "answered_otherwise")


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    monkeypatch.setattr("tests.faults.world.SIGN_COUNT", 3)
    monkeypatch.setattr("tests.faults.world.STOCK_COUNT", 1)
    return make_world(1)


@pytest.fixture
def crew(world: dict[str, Any]) -> Crew:
    random = Random(1)  # noqa: S311 - readings to send, no secret
    return Crew(random, world, world["phones"][0]["user_id"], timedelta(0))


def sent(outbox: Outbox, *operations: Recorded) -> None:
    """Save operations on the phone, and let the server take them in and answer."""
    for each in operations:
        outbox.save(each)
    batch = Batch(
        tuple(Sent(each.client_uuid, each.sha256, each.content) for each in operations),
        timezone.now(),
    )
    received = receive_batch(device=Device.objects.get(), batch=batch)
    answers = [each.as_json() for each in received.answers]
    outbox.note_answers(answers, str(received.epoch))


def wrongs(outbox: Outbox, world: dict[str, Any]) -> dict[str, int]:
    found = compare([outbox], world["signs_before"])
    return {what: len(found[what]) for what in WRONG if found[what]}


def test_a_run_without_faults_leaves_nothing_wrong(
    world: dict[str, Any], crew: Crew, tmp_path: Path
):
    outbox = Outbox(tmp_path / "0.jsonl")
    for _ in range(60):
        sent(outbox, *crew.draw())
    assert {each.kind for each in outbox.operations.values()} >= {"add_sign", "check"}
    assert wrongs(outbox, world) == {}
    assert wrongs(Outbox(outbox.path), world) == {}


def test_what_is_missing_changed_or_told_otherwise_is_found(
    world: dict[str, Any], crew: Crew, tmp_path: Path
):
    outbox = Outbox(tmp_path / "0.jsonl")
    sent(outbox, crew.record_reading(), crew.record_reading(), crew.record_check())
    first, second, _ = outbox.operations.values()

    never_sent = crew.record_reading()
    outbox.operations[never_sent.client_uuid] = never_sent
    assert wrongs(outbox, world) == {"lost": 1}
    del outbox.operations[never_sent.client_uuid]

    outbox.operations[first.client_uuid] = replace(first, content=second.content)
    assert wrongs(outbox, world)["invented"] == 1
    outbox.operations[first.client_uuid] = first

    first.answer = {**first.answer, "answer": "refused"}
    assert wrongs(outbox, world) == {"answered_otherwise": 1}
    first.answer = {**first.answer, "answer": "applied"}

    del outbox.operations[second.client_uuid]
    assert wrongs(outbox, world) == {"invented": 2}  # the operation, and its inspection
    outbox.operations[second.client_uuid] = second
    assert wrongs(outbox, world) == {}


def test_records_doubled_or_gone_are_found_though_the_operations_are_there(
    world: dict[str, Any], crew: Crew, tmp_path: Path
):
    outbox = Outbox(tmp_path / "0.jsonl")
    sent(outbox, crew.record_reading(), crew.record_check())

    owner = Organisation.objects.get()
    Sign.objects.create(owner=owner, sign_code="R1-1", state=Sign.State.IN_STOCK)
    assert wrongs(outbox, world) == {"doubled": 1}
    Sign.objects.order_by("-pk")[0].delete()

    instrument = Instrument.objects.first()
    assert instrument is not None
    record_check(
        instrument=instrument,
        moment="before",
        reference="80",
        shown="80",
        checked_at=timezone.now(),
    )
    assert wrongs(outbox, world) == {"invented": 1}

    # Below the ORM, which lets no fact be deleted.
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {Reading._meta.db_table}")  # noqa: S608 - a table's name
    assert wrongs(outbox, world)["lost"] == 1

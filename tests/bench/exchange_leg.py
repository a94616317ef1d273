"""What a phone's batch costs on the database of the settings; run in a process of its own."""

from __future__ import annotations

import gc
import gzip
import hashlib
import json
import random
import time
import uuid
from dataclasses import asdict, dataclass
from datetime import timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from django.db import connection
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone

from inventory.models import DeviceOperation, Organisation, Sign
from inventory.services.assessment import assess_signs
from inventory.services.exchange.content import read_batch
from inventory.services.exchange.devices import register_device
from inventory.services.exchange.receive import receive_batch
from inventory.services.garbage import collection_put_off
from inventory.services.instruments import register_instrument
from inventory.services.people import add_person
from tests.bench import take_along
from tests.bench.database import temporary_database
from tests.bench.fleet import STOP, STREET_NAME, YIELD, make_fleet
from tests.bench.left_behind import (
    copies_of,
    count_words,
    newest_keys,
    rows_left,
    store_plainly,
)
from tests.bench.rows import Row

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from inventory.models import Instrument, User
    from inventory.services.exchange.devices import Registered

OPERATIONS = 1_000
REFUSED_EVERY = 50  # 2 % of what is sent
READINGS = 4
ROUNDS = 5
RATIO_AIM = 2.5
SEED = 20260601
KINDS = (STOP, STREET_NAME, YIELD)
RANGES = {"white": (45.0, 300.0), "red": (4.0, 40.0), "green": (4.0, 40.0)}
OVER_PLAIN_HTTP = {
    "ALLOWED_HOSTS": ["testserver"],
    "BEHIND_TLS": False,
    "SECURE_SSL_REDIRECT": False,
}
WRONG = ("-3", "2001", "bright", "")


@dataclass(slots=True)
class _Crew:
    """An agency whose signs were read and judged once, and a phone of its crew."""

    agency: Organisation
    person: User
    phone: Registered
    instrument: Instrument


@dataclass(slots=True)
class _Timed:
    """The seconds of one batch, and of the rows it left stored again by themselves."""

    ours_s: float
    plain_s: float
    rows: str

    @property
    def ratio(self) -> float:
        """Return how many times as long the batch took."""
        return self.ours_s / self.plain_s


def measure() -> list[Row]:
    """Return the figures; every batch goes to signs of its own."""
    dice = random.Random(SEED)  # noqa: S311 - invented readings, not a secret
    with temporary_database(), override_settings(**OVER_PLAIN_HTTP):
        service = [_through_the_service(number, dice) for number in range(ROUNDS)]
        api = [_through_the_api(number, dice) for number in range(ROUNDS)]
    return [
        _row(f"receive and apply {OPERATIONS:,} operations", service),
        _row(f"POST {OPERATIONS:,} operations, gzipped, and their answers", api),
    ]


def print_figures() -> None:
    """Print the figures as JSON, for the process that asked."""
    print(json.dumps([asdict(row) for row in (*measure(), *take_along.run())]))


def _through_the_service(number: int, dice: random.Random) -> _Timed:
    now = timezone.now()
    crew = _crew(f"Bench County {number}", dice, now)
    sent = _batch(crew, dice, now)
    return _timed(lambda: receive_batch(device=crew.phone.device, batch=read_batch(sent)))


def _through_the_api(number: int, dice: random.Random) -> _Timed:
    now = timezone.now()
    crew = _crew(f"Wire County {number}", dice, now)
    body = gzip.compress(json.dumps(_batch(crew, dice, now)).encode())
    device = crew.phone.device.device_uuid

    def post() -> None:
        answer = Client().post(
            reverse("api-operations"),
            body,
            content_type="application/json",
            headers={
                "Authorization": f"Device {device}:{crew.phone.key}",
                "Content-Encoding": "gzip",
            },
        )
        if answer.status_code != HTTPStatus.OK or len(answer.json()["answers"]) != OPERATIONS:
            msg = f"The API answered {answer.status_code}: {answer.content[:200]!r}"
            raise RuntimeError(msg)

    return _timed(post)


def _timed(work: Callable[[], Any]) -> _Timed:
    before, began_at = newest_keys(), timezone.now()
    ours_s = _seconds(work)
    _check_outcome(before[DeviceOperation])
    rows = rows_left(before, began_at)
    copies = copies_of(rows)
    with collection_put_off():  # as the exchange does: the peer has the same conditions
        plain_s = _seconds(lambda: store_plainly(copies))
    return _Timed(ours_s, plain_s, count_words(rows))


def _check_outcome(newest_before: int) -> None:
    """Stop if the batch was not what is said of it: a figure of something else is no figure."""
    states = list(
        DeviceOperation.objects.filter(pk__gt=newest_before).values_list("state", flat=True)
    )
    refused = OPERATIONS // REFUSED_EVERY
    applied = OPERATIONS - refused
    found = (states.count("applied"), states.count("refused"))
    if found != (applied, refused):
        msg = f"{found[0]} were applied and {found[1]} refused, not {applied} and {refused}."
        raise RuntimeError(msg)


def _seconds(work: Callable[[], Any]) -> float:
    gc.collect()
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _row(name: str, timed: list[_Timed]) -> Row:
    """Return the batch of the middle ratio; each is held against its own rows, just after."""
    middle = sorted(timed, key=lambda each: each.ratio)[len(timed) // 2]
    return Row(
        name=f"{name}, {connection.vendor}",
        value=middle.ours_s,
        unit="s",
        peer="its rows, bulk_create alone",
        peer_value=middle.plain_s,
        ratio=middle.ratio,
        target=f"≤ {RATIO_AIM:g} ×",
        holds=middle.ratio <= RATIO_AIM,
        note=(
            f"{OPERATIONS // REFUSED_EVERY} of them refused; signs judged once before; the "
            f"middle one of {len(timed)}, ratios "
            f"{', '.join(f'{each.ratio:.2f}' for each in timed)}; rows: {middle.rows}"
        ),
    )


def _crew(name: str, dice: random.Random, now: datetime) -> _Crew:
    agency = make_fleet(name, KINDS, dice, signs=OPERATIONS, visits=1, now=now)
    assess_signs(organisation=agency, now=now)
    person = add_person(
        username=name, password="a-long-bench-word", organisation=agency, role="crew"
    )
    return _Crew(
        agency=agency,
        person=person,
        phone=register_device(
            organisation=agency, user=person, device_uuid=uuid.uuid4(), now=now
        ),
        instrument=register_instrument(
            organisation=agency,
            serial="1",
            observation_angle_deg="0.2",
            entrance_angle_deg="-4.0",
            receiver="point",
            certificate_on=now.date() - timedelta(days=90),
            certificate_due_on=now.date() + timedelta(days=90),
            check_tolerance_rel=0.05,
            now=now,
        ),
    )


def _batch(crew: _Crew, dice: random.Random, now: datetime) -> dict[str, Any]:
    """Return what a phone sends: one visit to each sign, some with a value that is wrong."""
    signs = Sign.objects.owned_by(crew.agency).order_by("pk").values_list("pk", flat=True)
    operations = []
    for number, sign_id in enumerate(signs):
        colours = [color for _, color in KINDS[number % len(KINDS)][1]]
        values = {color: _values(color, dice) for color in colours}
        if number % REFUSED_EVERY == 0:
            values[colours[0]][0] = WRONG[number // REFUSED_EVERY % len(WRONG)]
        operations.append(_operation(crew, number, sign_id, values, now))
    return {
        "app_version": "bench",
        "sent_at": now.isoformat(),
        "epoch": None,
        "last_acknowledged": None,
        "operations": operations,
        "ask": [],
    }


def _values(color: str, dice: random.Random) -> list[str]:
    about = dice.uniform(*RANGES[color])
    return [f"{about * dice.uniform(0.97, 1.03):.1f}" for _ in range(READINGS)]


def _operation(
    crew: _Crew, number: int, sign_id: int, values: dict[str, list[str]], now: datetime
) -> dict[str, str]:
    client_uuid = str(uuid.uuid4())
    content = {
        "client_uuid": client_uuid,
        "sequence": number + 1,
        "kind": "inspection",
        "device_at": (now - timedelta(seconds=OPERATIONS - number)).isoformat(),
        "device_offset_minutes": -360,
        "user_id": crew.person.pk,
        "app_version": "bench",
        "base_version": "",
        "needs": [],
        "replaces": None,
        "identified": {
            "by": "nearest",
            "latitude_deg": 43.0,
            "longitude_deg": -89.5,
            "accuracy_m": 8.0,
            "candidate_count": 1,
        },
        "photos": [],
        "payload": {
            "sign": {"id": sign_id},
            "how": "hand_held",
            "surface_state": "dry",
            "instrument_id": crew.instrument.pk,
            "note": "",
            "reading_sets": [
                {
                    "color": color,
                    "values": typed,
                    "observation_angle_deg": "0.2",
                    "entrance_angle_deg": "-4.0",
                    "rotation_angle_deg": None,
                }
                for color, typed in values.items()
            ],
            "observations": [],
            "visual_rating": None,
            "corrects": None,
            "is_confirmed": False,
            "shown": {"method_version": "assess-2", "verdict": "meets"},
        },
    }
    text = json.dumps(content)
    return {
        "client_uuid": client_uuid,
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "content": text,
    }

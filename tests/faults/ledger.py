"""
What is in the database against what is in the phones' outboxes, to the last value.

``python -m tests.faults.ledger FOLDER NUMBER`` compares the database that DATABASE_URL names
with the outboxes in FOLDER and prints what it found; NUMBER is how many signs, and as many
supports, there were before the phones sent anything.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import django

from tests.faults.outbox import Outbox

if TYPE_CHECKING:
    from tests.faults.outbox import Recorded


def compare(outboxes: list[Outbox], signs_before: int) -> dict[str, Any]:
    """Return what was lost, doubled, invented or answered otherwise than it is."""
    from inventory.models import DeviceOperation

    saved = {key: each for box in outboxes for key, each in box.operations.items()}
    rows = {str(each.client_uuid): each for each in DeviceOperation.objects.all()}
    applied = {
        key: each
        for key, each in saved.items()
        if key in rows and rows[key].state == DeviceOperation.State.APPLIED
    }
    found = {
        "lost": [key for key in saved if key not in rows],
        "invented": [
            key
            for key, row in rows.items()
            if key not in saved
            or (row.content, row.content_sha256) != (saved[key].content, saved[key].sha256)
        ],
        "doubled": [],
        "answered_otherwise": [
            f"{key}: {saved[key].answer['answer']} and not {row.state}"
            for key, row in rows.items()
            if key in saved
            and saved[key].answer["answer"].replace("already_", "") != str(row.state)
        ],
    }
    _compare_inspections(applied, found)
    _compare_by_key(applied, found)
    _compare_by_count(applied, found, signs_before)
    photos = _compare_photos(applied, found)
    return {
        "operations": len(saved),
        "states": Counter(str(row.state) for row in rows.values()),
        "kinds": Counter(row.kind for row in rows.values()),
        "photos": photos,
        "signs_judged_anew": _judge_again(),
        **found,
    }


def _of_kind(applied: dict[str, Recorded], kind: str) -> dict[str, Recorded]:
    return {key: each for key, each in applied.items() if each.kind == kind}


def _compare_inspections(applied: dict[str, Recorded], found: dict[str, list[str]]) -> None:
    """Every applied inspection is there with its very values, and no other is."""
    from inventory.models import Inspection

    stored = Inspection.objects.prefetch_related("reading_sets__readings").order_by("pk")
    wanted = _of_kind(applied, "inspection")
    seen = set()
    for inspection in stored:
        key = str(inspection.client_uuid)
        seen.add(key)
        if key not in wanted:
            found["invented"].append(f"inspection {key}")
            continue
        payload = json.loads(wanted[key].content)["payload"]
        typed = [(each["color"], each["values"]) for each in payload["reading_sets"]]
        kept = [
            (each.color, [str(value) for value in _values_of(each)])
            for each in inspection.reading_sets.all()
        ]
        if sorted(typed) != sorted(kept) or inspection.note != payload["note"]:
            words = "doubled" if len(kept) > len(typed) else "lost"
            found[words].append(f"values of inspection {key}")
    found["lost"] += [f"inspection {key}" for key in wanted if key not in seen]


def _values_of(reading_set: Any) -> list[str]:
    readings = sorted(reading_set.readings.all(), key=lambda each: each.number)
    return [each.typed for each in readings]


def _compare_by_key(applied: dict[str, Recorded], found: dict[str, list[str]]) -> None:
    """Checks and flags carry the operation's own id."""
    from inventory.models import InstrumentCheck, WrongDataFlag

    for kind, rows in (
        ("check", InstrumentCheck.objects.all()),
        ("flag_record", WrongDataFlag.objects.exclude(field=WrongDataFlag.Field.ADDED)),
    ):
        wanted = set(_of_kind(applied, kind))
        kept = [str(key) for key in rows.values_list("client_uuid", flat=True)]
        found["lost"] += [f"{kind} {key}" for key in wanted - set(kept)]
        found["invented"] += [f"{kind} {key}" for key in set(kept) - wanted]


def _compare_by_count(
    applied: dict[str, Recorded], found: dict[str, list[str]], signs_before: int
) -> None:
    """What carries no id is counted, and each result names a record of its own."""
    from inventory.models import DeviceOperation, Sign, Support, SupportMove, WrongDataFlag

    made = _of_kind(applied, "add_sign")
    posts = sum("new" in _payload(each)["support"] for each in made.values())
    for what, wanted, kept in (
        ("signs", signs_before + len(made), Sign.objects.count()),
        ("supports", signs_before + posts, Support.objects.count()),
        ("moves", len(_of_kind(applied, "move_support")), SupportMove.objects.count()),
        (
            "signs flagged as added",
            len(made),
            WrongDataFlag.objects.filter(field=WrongDataFlag.Field.ADDED).count(),
        ),
    ):
        if kept != wanted:
            words = "lost" if kept < wanted else "doubled"
            found[words].append(f"{what}: {kept} and not {wanted}")
    rows = DeviceOperation.objects.filter(state=DeviceOperation.State.APPLIED)
    for kind, field in (("add_sign", "sign_id"), ("move_support", "move_id")):
        results = Counter(row.result[field] for row in rows.filter(kind=kind))
        found["doubled"] += [
            f"{kind}: {number} operations name {key}"
            for key, number in results.items()
            if number > 1
        ]


def _compare_photos(applied: dict[str, Recorded], found: dict[str, list[str]]) -> int:
    """Every photo of an applied operation is stored once, with its hash; return how many."""
    from inventory.models import Photo, PhotoUpload

    wanted = {
        each["photo_uuid"]: each["sha256"]
        for operation in applied.values()
        for each in json.loads(operation.content)["photos"]
    }
    stored = {
        str(each.client_uuid): each.photo.sha256
        for each in PhotoUpload.objects.select_related("photo")
        if each.photo is not None
    }
    found["lost"] += [
        f"photo {key}" for key, sha256 in wanted.items() if stored.get(key) != sha256
    ]
    found["invented"] += [f"photo {key}" for key in stored if key not in wanted]
    more = Photo.objects.count() - len(stored)
    found["doubled"] += [f"{more} photos without an upload"] if more else []
    return len(stored)


def _payload(operation: Recorded) -> dict[str, Any]:
    payload: dict[str, Any] = json.loads(operation.content)["payload"]
    return payload


def _judge_again() -> int:
    """Judge every installed sign anew; return how many verdicts were not up to date."""
    from inventory.models import Organisation
    from inventory.services.assessment import assess_signs

    return assess_signs(organisation=Organisation.objects.get()).new


if __name__ == "__main__":
    django.setup()
    boxes = [Outbox(path) for path in sorted(Path(sys.argv[1]).glob("*.jsonl"))]
    sys.stdout.write(json.dumps(compare(boxes, int(sys.argv[2]))))

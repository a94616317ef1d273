"""Whatever the order, the cuts and the repeats: the same is stored, once."""

import random

import pytest

from inventory.models import DeviceOperation, Inspection
from inventory.services.exchange.devices import missing_sequences
from inventory.services.exchange.settling import open_operations
from tests.factories import make_agency, make_sign
from tests.services.exchange.phones import Phone, note_of, readings_of

SIGNS, OPERATIONS = 4, 30


def a_day(phone, signs, dice):
    """Record a day of one phone; return the ids that must be applied, refused and discarded."""
    applied, refused, discarded = set(), set(), set()
    while len(phone.kept) < OPERATIONS:
        sign = {"id": dice.choice(signs).pk}
        earlier = [
            sent.client_uuid
            for sent in phone.kept
            if sent.client_uuid in applied and '"kind":"inspection"' in sent.content
        ]
        needs = dice.sample(earlier, min(len(earlier), dice.randrange(3)))
        what = dice.choice(["note", "note", "correction", "put right", "discarded"])
        words = f"{phone.sequence}"
        if what == "note" or not earlier:
            applied.add(
                phone.record("inspection", note_of(sign, words), needs=needs).client_uuid
            )
        elif what == "correction":
            corrects = {"operation": dice.choice(earlier)}
            payload = note_of(sign, words) | {"corrects": corrects}
            applied.add(phone.record("inspection", payload, needs=needs).client_uuid)
        elif what == "put right":
            wrong = phone.record("inspection", readings_of(sign, "forty", "6"), needs=needs)
            leaning = phone.record(
                "inspection", note_of(sign, words), needs=[wrong.client_uuid]
            )
            right = phone.record(
                "inspection",
                readings_of(sign, "40", "6"),
                needs=needs,
                replaces=wrong.client_uuid,
            )
            refused.add(wrong.client_uuid)
            applied |= {leaning.client_uuid, right.client_uuid}
        else:
            slip = phone.record("telepathy", {}, needs=needs)
            payload = {"operation": slip.client_uuid, "reason": "A slip."}
            discard = phone.record("discard", payload)
            discarded.add(slip.client_uuid)
            applied.add(discard.client_uuid)
    return applied, refused, discarded


@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(6))
def test_all_of_a_day_is_there_once_whatever_happened_on_the_way(seed):
    dice = random.Random(seed)  # noqa: S311 - no secret
    agency = make_agency()
    signs = [make_sign(agency) for _ in range(SIGNS)]
    phone = Phone(agency)
    applied, refused, discarded = a_day(phone, signs, dice)
    on_the_way = phone.kept * 2
    dice.shuffle(on_the_way)
    while on_the_way:
        size = dice.randrange(1, 9)
        phone.send(on_the_way[:size])
        on_the_way = on_the_way[size:]
    states = {
        str(key): state
        for key, state in DeviceOperation.objects.values_list("client_uuid", "state")
    }
    assert states == {
        **dict.fromkeys(applied, "applied"),
        **dict.fromkeys(refused, "refused"),
        **dict.fromkeys(discarded, "discarded"),
    }
    visits = DeviceOperation.objects.filter(kind="inspection", state="applied")
    keys = Inspection.objects.values_list("client_uuid", flat=True)
    assert sorted(keys) == sorted(visits.values_list("client_uuid", flat=True))
    assert not open_operations(agency).exists()
    assert missing_sequences(phone.device) == []
    # Every correction is of the visit that it was recorded for.
    for correction in visits.filter(content__contains='"corrects"'):
        made = Inspection.objects.get(client_uuid=correction.client_uuid)
        assert made.corrects is not None
        assert f'{{"operation":"{made.corrects.client_uuid}"}}' in correction.content

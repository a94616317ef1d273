"""
An agency with signs, stock and instruments, and a phone for each of its crews.

``python -m tests.faults.world NUMBER`` makes it in the database that DATABASE_URL names and
prints what the phones know of it.
"""

from __future__ import annotations

import json
import sys
import uuid

import django
from django.utils import timezone

SIGN_COUNT = 60
STOCK_COUNT = 60
INSTRUMENT_COUNT = 3


def make_world(phone_count: int) -> dict[str, object]:
    """Make the agency and its phones, and return them as the simulated crews need them."""
    from inventory.models import Role, Sign
    from inventory.services.assessment import assess_signs
    from inventory.services.exchange.devices import register_device
    from tests.factories import (
        make_agency,
        make_instrument,
        make_person,
        make_position,
        make_sign,
        make_support,
        position_of,
    )

    agency = make_agency("Faultless County")
    signs = []
    for number in range(SIGN_COUNT):
        support = make_support(agency, latitude_deg=43.0 + number * 0.002, longitude_deg=-89.5)
        sign = make_sign(agency, position=make_position(agency, support=support))
        signs.append(
            {
                "sign_id": sign.pk,
                "position_id": position_of(sign).pk,
                "support_id": support.pk,
                "latitude_deg": support.latitude_deg,
                "longitude_deg": support.longitude_deg,
            }
        )
    stock = []
    for _ in range(STOCK_COUNT):
        face = make_sign(agency)
        spare = {"position": None, "state": Sign.State.IN_STOCK, "installed_on": None}
        Sign.objects.filter(pk=face.pk).update(**spare)
        stock.append(face.pk)
    assess_signs(organisation=agency)
    phones = []
    for _ in range(phone_count):
        person = make_person(agency, Role.CREW)
        key = uuid.uuid4()
        taken_on = register_device(
            organisation=agency, user=person, device_uuid=key, now=timezone.now()
        )
        phones.append({"user_id": person.pk, "key": f"{key}:{taken_on.key}"})
    return {
        "signs": signs,
        "stock": stock,
        "instruments": [make_instrument(agency).pk for _ in range(INSTRUMENT_COUNT)],
        "phones": phones,
        # A face in stock was made in a place of its own, with a support.
        "signs_before": SIGN_COUNT + STOCK_COUNT,
    }


if __name__ == "__main__":
    django.setup()
    sys.stdout.write(json.dumps(make_world(int(sys.argv[1]))))

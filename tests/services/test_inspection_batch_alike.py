"""Visits stored together leave the same rows as visits stored one by one."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.errors import InventoryError
from inventory.models import (
    Assessment,
    Inspection,
    InspectionFlag,
    LogbookEntry,
    Observation,
    ReadingSet,
    Standing,
    VisualRating,
)
from inventory.services.inspection import record_inspection
from inventory.services.inspection_batch import ObservationInput, Visit, VisualRatingInput
from inventory.services.instruments import record_check
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_person,
    make_rating,
    make_sign,
)
from tests.services.visits import DIM_PANELS, PANELS, RED, TAKEN, WHITE, record, visit

if TYPE_CHECKING:
    from inventory.models import Instrument, User

GOOD = st.sampled_from(
    [
        {},
        {"surface_state": "dew", "note": " at dusk "},
        {"how": "mobile", "device_offset_minutes": -300},
        {"reading_sets": (WHITE,), "taken_at": TAKEN - timedelta(hours=5)},
        {"reading_sets": (replace(WHITE, places_on_face=("n", "e", "s", "w")), RED)},
        {"reading_sets": (WHITE, replace(RED, observation_angle_deg="0.5"))},
        {
            "reading_sets": (),
            "how": "visual_day",
            "observations": (ObservationInput("bent", 3),),
        },
        {"reading_sets": (), "note": "Leans to the road."},
        {"observations": (ObservationInput("faded", 1, " top "), ObservationInput("bent", 2))},
        {
            "reading_sets": (),
            "how": "visual_night",
            "visual_rating": make_rating(is_adequate=False),
        },
        {
            "reading_sets": (),
            "how": "visual_night",
            "visual_rating": VisualRatingInput("comparison_panels", True, PANELS),
        },
        # Good only while nothing is known of the level that the panel has to reach.
        {
            "reading_sets": (),
            "how": "visual_night",
            "visual_rating": VisualRatingInput("comparison_panels", True, DIM_PANELS),
        },
    ]
)
BAD = st.sampled_from(
    [
        {"reading_sets": (replace(WHITE, values=("40", "-3")),)},
        {"reading_sets": (replace(RED, values=("bright",)),)},
        {"reading_sets": (replace(RED, color="mauve"),)},
        {"reading_sets": (replace(WHITE, places_on_face=("x" * 40,) * 4),)},
        {"reading_sets": ()},
        {"how": "guessed"},
        {"how": "visual_day"},
        {"surface_state": "sandy"},
        {"taken_at": NOW + timedelta(days=2)},
        {"observations": (ObservationInput("eaten", 2),)},
        {"visual_rating": make_rating(is_adequate=True, inspector_age_years=30)},
        {"reading_sets": (replace(WHITE, values=("5",)), replace(RED, values=("9",)))},
    ]
)


@dataclass(frozen=True)
class Drawn:
    """A visit as it was drawn: by places in a world, so that it can be told of two of them."""

    fields: dict[str, Any]
    sign: int
    instrument: str
    corrects_first: bool
    is_confirmed: bool
    repeats: int | None


drawn_visits = st.builds(
    Drawn,
    fields=st.one_of(GOOD, GOOD, GOOD, BAD),
    sign=st.integers(0, 3),
    instrument=st.sampled_from(["", "", "good", "failed", "expired", "theirs"]),
    corrects_first=st.sampled_from([False, False, False, False, True]),
    is_confirmed=st.booleans(),
    repeats=st.one_of(st.none(), st.none(), st.none(), st.integers(0, 5)),
)


class World:
    """An agency with signs of every history, and the names by which two of them compare."""

    def __init__(self) -> None:
        self.agency = make_agency(name=f"County {uuid.uuid4()}")
        self.crew: User = make_person(self.agency, "crew")
        self.signs = [make_sign(self.agency) for _ in range(3)]
        self.signs.append(make_sign(make_agency(name=f"Other {uuid.uuid4()}")))
        self.first = record_inspection(
            sign=self.signs[0],
            taken_at=TAKEN - timedelta(days=30),
            how="hand_held",
            reading_sets=(replace(WHITE, values=("30", "31")), RED),
            now=NOW - timedelta(days=29),
        )
        self.instruments: dict[str, Instrument] = {
            "good": make_instrument(self.agency),
            "failed": make_instrument(self.agency),
            "expired": make_instrument(self.agency, certificate_due_on=date(2026, 2, 1)),
            "theirs": make_instrument(make_agency(name=f"Theirs {uuid.uuid4()}")),
        }
        record_check(
            instrument=self.instruments["failed"],
            moment="before",
            reference="100",
            shown="120",
            checked_at=TAKEN - timedelta(hours=1),
            now=TAKEN,
        )

    def visits(self, drawn: list[Drawn]) -> list[Visit]:
        made: list[Visit] = []
        for each in drawn:
            instrument = self.instruments.get(each.instrument)
            made.append(
                visit(
                    self.signs[each.sign],
                    inspector=self.crew,
                    instrument_id=None if instrument is None else instrument.pk,
                    corrects_id=self.first.pk if each.corrects_first else None,
                    is_confirmed=each.is_confirmed,
                    client_uuid=uuid.uuid4()
                    if each.repeats is None or each.repeats >= len(made)
                    else made[each.repeats].client_uuid,
                    **each.fields,
                )
            )
        return made

    def one_by_one(self, visits: list[Visit]) -> list[Inspection | InventoryError]:
        signs = {sign.pk: sign for sign in self.signs}
        instruments = {each.pk: each for each in self.instruments.values()}
        outcomes: list[Inspection | InventoryError] = []
        for each in visits:
            if signs[each.sign_id].owner != self.agency:
                outcomes += record(self.agency, each)  # who asks is the caller's to check
                continue
            fields = {name: getattr(each, name) for name in each.__dataclass_fields__}
            del fields["sign_id"], fields["instrument_id"], fields["corrects_id"]
            del fields["are_photos_coming"]  # a phone's alone
            instrument = each.instrument_id and instruments[each.instrument_id]
            try:
                outcomes.append(
                    record_inspection(
                        sign=signs[each.sign_id],
                        instrument=instrument or None,
                        corrects=self.first if each.corrects_id else None,
                        now=NOW,
                        **fields,
                    )
                )
            except InventoryError as error:
                outcomes.append(error)
        return outcomes

    def told(self, outcomes: list[Inspection | InventoryError], visits: list[Visit]) -> Any:
        """Return what became of each visit, in words that two worlds share."""
        places = {each.client_uuid: place for place, each in reversed(list(enumerate(visits)))}
        return [
            (type(each).__name__, self._plain(str(each)))
            if isinstance(each, InventoryError)
            else places[each.client_uuid]
            for each in outcomes
        ]

    def facts(self) -> Any:
        """Return every row that inspections left, by what it says."""
        visits = {
            each.pk: (self.signs.index(each.sign), each.recorded_at, each.taken_at, place)
            for place, each in enumerate(
                Inspection.objects.owned_by(self.agency).select_related("sign").order_by("pk")
            )
        }
        of_agency = {"inspection__organisation": self.agency}
        serials = {each.pk: name for name, each in self.instruments.items()}
        return {
            "inspections": [
                (
                    *visits[each.pk],
                    each.how,
                    each.surface_state,
                    self._plain(each.note),
                    each.device_offset_minutes,
                    each.inspector == self.crew,
                    serials.get(each.instrument_id or 0),
                    each.corrects_id and visits[each.corrects_id],
                )
                for each in Inspection.objects.owned_by(self.agency).order_by("pk")
            ],
            "sets": [
                (
                    visits[each.inspection_id],
                    each.number,
                    each.color,
                    each.observation_angle_deg,
                    [
                        (r.number, r.typed, r.ra_cd_lx_m2, r.place_on_face)
                        for r in each.readings.all()
                    ],
                )
                for each in ReadingSet.objects.filter(**of_agency).order_by("pk")
            ],
            "seen": [
                (visits[each.inspection_id], each.kind, each.severity, each.note)
                for each in Observation.objects.filter(**of_agency).order_by("pk")
            ],
            "rated": [
                (visits[each.inspection_id], each.procedure, each.is_adequate, each.evidence)
                for each in VisualRating.objects.filter(**of_agency).order_by("pk")
            ],
            "flags": [
                (visits[each.inspection_id], each.reason, each.check_made_id is not None)
                for each in InspectionFlag.objects.filter(**of_agency).order_by(
                    "inspection", "reason"
                )
            ],
            "log": [
                (self._plain(each.text), self.signs.index(each.sign), each.actor == self.crew)
                for each in LogbookEntry.objects.owned_by(self.agency)
                .filter(verb="record inspection")
                .order_by("pk")
            ],
        }

    def verdicts(self) -> Any:
        """Return how each sign stands, and the assessment it stands by."""
        return [
            (
                self.signs.index(each.sign),
                each.verdict,
                each.reason,
                each.margin_ratio,
                each.condition,
                each.condition_text,
                each.is_due,
                each.due_on,
                each.due_reason,
                each.due_order,
                each.last_inspected_on,
                self._assessed(each.assessment),
            )
            for each in Standing.objects.owned_by(self.agency).order_by("sign")
        ]

    def _assessed(self, assessment: Assessment | None) -> Any:
        assert assessment is not None
        elements = assessment.elements.order_by("number")
        return (
            assessment.verdict,
            assessment.reason,
            assessment.probability_low,
            assessment.inspection and assessment.inspection.taken_at,
            [(each.color, each.verdict, each.value, each.reason) for each in elements],
        )

    def _plain(self, text: str) -> str:
        """Leave out the numbers and names that only one world has."""
        for place, sign in enumerate(self.signs):
            text = re.sub(rf"\b[Ss]ign {sign.pk}\b", f"sign no. {place}", text)
        for name, each in self.instruments.items():
            text = text.replace(each.serial, name)
        text = re.sub(r"[0-9a-f-]{36}", "key", text)
        return re.sub(r"[Ii]nspection \d+", "inspection", text)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=st.lists(drawn_visits, min_size=1, max_size=8))
def test_stored_together_visits_leave_what_they_leave_one_by_one(db, drawn):
    with transaction.atomic():
        apart, together = World(), World()
        visits = apart.visits(drawn)
        told = apart.told(apart.one_by_one(visits), visits)
        same = together.visits(drawn)
        assert together.told(record(together.agency, *same), same) == told
        assert together.facts() == apart.facts()
        assert together.verdicts() == apart.verdicts()
        transaction.set_rollback(True)

"""Instruments: the register, certificates, checks, and the readings a check puts in doubt."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from itertools import permutations
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    Assessment,
    EarlierCertificate,
    Inspection,
    InspectionFlag,
    Instrument,
    InstrumentCheck,
    LogbookEntry,
    Organisation,
    Sign,
    Standing,
)
from inventory.services.flags import settle_flags
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.instruments import (
    bring_back_instrument,
    record_check,
    register_instrument,
    retire_instrument,
    set_certificate,
    set_tolerance,
)
from inventory.services.people import create_organisation
from tests.factories import NOW, make_agency, make_instrument, make_person, make_sign
from tests.services.races import together

pytestmark = pytest.mark.django_db

DAY = datetime(2026, 5, 28, tzinfo=UTC)
GOOD = {"reference": "250", "shown": "250"}
OFF = {"reference": "250", "shown": "220"}  # 12 % off, of a tolerance of 5 %


def at(hour: float) -> datetime:
    return DAY + timedelta(hours=hour)


def read(sign: Sign, instrument: Instrument, hour: float, **fields: Any) -> Inspection:
    """Read a Stop sign that meets its levels: white 35, red 7, contrast 3:1 (Table 2A-5)."""
    defaults: dict[str, Any] = {
        "taken_at": at(hour),
        "how": "hand_held",
        "surface_state": "dry",
        "reading_sets": [
            ReadingSetInput("white", ["60", "61", "59", "60"]),
            ReadingSetInput("red", ["12", "12", "12.5", "11.5"]),
        ],
        "now": NOW,
    }
    return record_inspection(sign=sign, instrument=instrument, **defaults | fields)


def check(instrument: Instrument, hour: float, **fields: Any) -> InstrumentCheck:
    defaults: dict[str, Any] = {"moment": "after", "checked_at": at(hour), "now": NOW}
    return record_check(instrument=instrument, **defaults | GOOD | fields)


def flagged() -> list[int]:
    rows = InspectionFlag.objects.order_by("inspection")
    return list(rows.values_list("inspection", flat=True))


def verdict(sign: Sign) -> str:
    return Standing.objects.get(sign=sign).verdict


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def instrument(agency: Organisation) -> Instrument:
    return make_instrument(agency, serial="RM-7")


# --- the register -------------------------------------------------------------------------


def test_an_instrument_is_registered_with_what_is_known_of_it(agency):
    engineer = make_person(agency)
    made = register_instrument(
        organisation=agency,
        serial=" RM-8 ",
        observation_angle_deg="0.2",
        entrance_angle_deg="−4",
        by=engineer,
        now=NOW,
    )
    made.refresh_from_db()
    assert (made.serial, made.receiver, made.certificate_due_on) == ("RM-8", "", None)
    assert made.check_tolerance_rel is None
    entry = LogbookEntry.objects.get(verb="register instrument")
    assert (entry.actor, entry.text) == (engineer, "Instrument RM-8 registered.")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"serial": ""}, "cannot be saved"),
        ({"serial": "x" * 41}, "cannot be saved"),
        ({"observation_angle_deg": "20"}, "no sign instrument's"),
        ({"entrance_angle_deg": "steep"}, "not an angle"),
        ({"receiver": "square"}, "cannot be saved"),
        ({"check_tolerance_rel": 5.0}, "500 % is no instrument's"),
        ({"certificate_on": date(2027, 1, 1)}, "still to come"),
        ({"certificate_due_on": date(2025, 1, 1)}, "before it was given"),
    ],
)
def test_an_instrument_that_cannot_be_is_not_registered(agency, fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        make_instrument(agency, **fields)
    assert not Instrument.objects.exists()


def test_a_serial_number_is_registered_once_in_an_agency(agency, instrument):
    with pytest.raises(StateConflictError, match="rm-7 already"):
        make_instrument(agency, serial="rm-7")
    make_instrument(make_agency(), serial="RM-7")


def test_a_retired_instrument_can_be_brought_back(agency, instrument):
    with pytest.raises(OutOfRangeError, match="Say why"):
        retire_instrument(instrument=instrument, reason=" ", now=NOW)
    assert retire_instrument(instrument=instrument, reason="Dropped.", now=NOW).is_retired
    assert not bring_back_instrument(instrument=instrument, now=NOW).is_retired
    assert list(
        LogbookEntry.objects.filter(verb__contains="instrument")
        .exclude(verb="register instrument")
        .order_by("pk")
        .values_list("text", flat=True)
    ) == ["Instrument RM-7 taken out of use. Dropped.", "Instrument RM-7 back in use."]


def test_a_tolerance_holds_for_later_checks_only(instrument):
    first = check(instrument, 8, shown="240")
    set_tolerance(instrument=instrument, check_tolerance_rel=0.03, now=NOW)
    second = check(instrument, 9, shown="240")
    first.refresh_from_db()
    assert (first.tolerance_rel, first.is_within_tolerance) == (0.05, True)
    assert (second.tolerance_rel, second.is_within_tolerance) == (0.03, False)
    with pytest.raises(OutOfRangeError, match="at most 50 %"):
        set_tolerance(instrument=instrument, check_tolerance_rel=0.6, now=NOW)


# --- one check ----------------------------------------------------------------------------


def test_a_check_is_kept_as_typed_with_the_tolerance_of_its_day(agency, instrument):
    crew = make_person(agency, "crew")
    made = check(instrument, 17, shown="237.5", by=crew)
    made.refresh_from_db()
    # By hand: |237.5 − 250| / 250 = 0.05, equal to the tolerance.
    assert made.is_within_tolerance
    assert (made.tolerance_rel, made.checked_by) == (0.05, crew)
    assert LogbookEntry.objects.get(verb="check instrument").text == (
        "Instrument RM-7 checked after a session: 237.5 shown on 250 cd/lx/m², 5.00 % off, "
        "within its tolerance of 5 %."
    )


def test_a_check_without_a_known_tolerance_says_to_set_it_first(agency):
    unknown = make_instrument(agency, check_tolerance_rel=None)
    with pytest.raises(OutOfRangeError, match="Set its tolerance first"):
        check(unknown, 8)
    assert not InstrumentCheck.objects.exists()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"shown": "-3"}, "Shown by the instrument: The reading -3 cd/lx/m² is negative"),
        ({"shown": "2500"}, "over 2000"),
        ({"reference": "0"}, "more than 0"),
        ({"reference": "two"}, "Reference standard: 'two' is not a number"),
        ({"moment": "noon"}, "cannot be saved"),
        ({"checked_at": NOW + timedelta(hours=1)}, "The check is dated .* still to come"),
        ({"checked_at": datetime(2026, 5, 1)}, "no time zone"),  # noqa: DTZ001 - the point
    ],
)
def test_a_check_that_cannot_be_is_refused_in_a_sentence(instrument, fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        check(instrument, 8, **fields)
    assert not InstrumentCheck.objects.exists()


def test_a_check_sent_twice_is_stored_once_and_flags_once(agency, instrument):
    read(make_sign(agency), instrument, 10)
    key = uuid.uuid4()
    first = check(instrument, 17, client_uuid=key, **OFF)
    assert check(instrument, 17, client_uuid=key, **OFF) == first
    assert InstrumentCheck.objects.count() == InspectionFlag.objects.count() == 1
    assert LogbookEntry.objects.filter(verb="check instrument").count() == 1


def test_the_same_key_with_another_value_is_refused_and_the_first_stays(instrument):
    key = uuid.uuid4()
    check(instrument, 17, client_uuid=key)
    with pytest.raises(StateConflictError, match="it stays as it is"):
        check(instrument, 17, client_uuid=key, **OFF)
    assert InstrumentCheck.objects.get().is_within_tolerance


# --- which readings a failed check is about -----------------------------------------------


def test_a_failed_check_flags_every_reading_since_the_last_good_one(agency, instrument):
    signs = [make_sign(agency) for _ in range(4)]
    yesterday = read(signs[0], instrument, -6)
    check(instrument, 8, moment="before")
    today = [
        read(sign, instrument, hour) for sign, hour in zip(signs[1:3], (9, 16), strict=True)
    ]
    other = read(signs[3], make_instrument(agency), 12)
    failed = check(instrument, 17, **OFF)
    assert flagged() == [each.pk for each in today]
    assert yesterday.pk not in flagged()
    assert other.pk not in flagged()
    flag = InspectionFlag.objects.first()
    assert flag is not None
    assert (flag.reason, flag.check_made, flag.raised_at) == ("check_failed", failed, NOW)
    entry = LogbookEntry.objects.get(verb="check instrument", text__contains="outside")
    assert entry.text.endswith("Readings flagged, to be settled: 2.")


def test_flagged_readings_are_kept_and_not_judged_and_the_reason_says_why(agency, instrument):
    sign = make_sign(agency)
    read(sign, instrument, 10)
    assert verdict(sign) == "meets"
    check(instrument, 17, **OFF)
    assert verdict(sign) == "no usable reading"
    newest = Assessment.objects.filter(sign=sign).order_by("-pk")[0]
    white = newest.elements.get(color="white")
    assert (
        "the check of the instrument at 2026-05-28 17:00 was outside its tolerance; not settled"
    ) in white.reason
    assert all("outside its tolerance" in each["doubt"] for each in newest.facts["readings"])


def test_an_earlier_good_reading_is_judged_while_the_newest_is_in_doubt(agency, instrument):
    sign = make_sign(agency)
    low = [ReadingSetInput("white", ["60"] * 4), ReadingSetInput("red", ["5"] * 4)]
    read(sign, instrument, -20)
    check(instrument, -18)
    read(sign, instrument, 10, reading_sets=low)
    assert verdict(sign) == "below"
    check(instrument, 17, **OFF)
    assert verdict(sign) == "meets"


def test_a_reading_that_arrives_after_the_failed_check_is_flagged_at_once(agency, instrument):
    sign = make_sign(agency)
    check(instrument, 8, moment="before")
    check(instrument, 17, **OFF)
    late = read(sign, instrument, 12)
    assert flagged() == [late.pk]
    assert verdict(sign) == "no usable reading"


def test_a_reading_after_the_failed_check_is_flagged_until_a_good_one(agency, instrument):
    check(instrument, 17, **OFF)
    doubtful = read(make_sign(agency), instrument, 18)
    check(instrument, 32, moment="before")
    read(make_sign(agency), instrument, 33)
    assert flagged() == [doubtful.pk]


def test_a_failed_check_that_arrives_late_flags_only_its_own_session(agency, instrument):
    check(instrument, 8, moment="before")
    check(instrument, 17, moment="before")
    inside, later = (read(make_sign(agency), instrument, hour) for hour in (10, 18))
    check(instrument, 12, **OFF)
    assert flagged() == [inside.pk]
    assert later.pk not in flagged()


def test_a_good_check_that_arrives_late_leaves_the_flags_to_a_person(agency, instrument):
    sign = make_sign(agency)
    early = read(sign, instrument, 9)
    check(instrument, 17, **OFF)
    check(instrument, 12)
    assert flagged() == [early.pk]
    assert verdict(sign) == "no usable reading"
    # From now on, though, a reading of before the good check is not in doubt.
    read(make_sign(agency), instrument, 9.5)
    assert flagged() == [early.pk]


@pytest.mark.parametrize("order", list(permutations(("good", "failed", "early", "late"))))
def test_whatever_arrives_first_no_doubtful_reading_is_missed(agency, instrument, order):
    """A reading at 9, a good check at 12, a reading at 14, and a failed check at 17."""
    stored = {}
    steps = {
        "good": lambda: check(instrument, 12),
        "failed": lambda: check(instrument, 17, **OFF),
        "early": lambda: read(make_sign(agency), instrument, 9),
        "late": lambda: read(make_sign(agency), instrument, 14),
    }
    for step in order:
        stored[step] = steps[step]().pk
    expected = {stored["late"]}
    if order.index("good") > max(order.index("failed"), order.index("early")):
        expected.add(stored["early"])  # for a person: the good check was not known of yet
    assert set(flagged()) == expected


def test_readings_that_wait_already_are_not_flagged_twice(agency, instrument):
    read(make_sign(agency), instrument, 9)
    check(instrument, 17, **OFF)
    check(instrument, 18, **OFF)
    assert InspectionFlag.objects.count() == 1


def test_a_further_failed_check_questions_readings_that_were_let_count(agency, instrument):
    sign = make_sign(agency)
    read(sign, instrument, 9)
    check(instrument, 17, **OFF)
    settle_flags(
        flags=InspectionFlag.objects.all(),
        outcome="judge",
        reason="Panel agreed.",
        by=None,
        now=NOW,
    )
    assert verdict(sign) == "meets"
    check(instrument, 18, **OFF)
    assert InspectionFlag.objects.count() == 2
    assert verdict(sign) == "no usable reading"


def test_a_further_failed_check_leaves_readings_that_were_set_aside(agency, instrument):
    read(make_sign(agency), instrument, 9)
    check(instrument, 17, **OFF)
    settle_flags(
        flags=InspectionFlag.objects.all(),
        outcome="set_aside",
        reason="Lens dirty.",
        by=None,
        now=NOW,
    )
    check(instrument, 18, **OFF)
    assert InspectionFlag.objects.count() == 1


def test_what_was_only_looked_at_or_corrected_since_is_not_flagged(agency, instrument):
    sign = make_sign(agency)
    read(sign, instrument, 9, reading_sets=(), note="too wet to read")
    wrong = read(sign, instrument, 10)
    right = read(sign, instrument, 10, corrects=wrong, note="other values")
    check(instrument, 17, **OFF)
    assert flagged() == [right.pk]


def test_an_agency_without_rules_has_its_readings_flagged_too():
    agency = create_organisation(name="New County", kind=Organisation.Kind.AGENCY)
    instrument = make_instrument(agency)
    read(make_sign(agency), instrument, 9)
    check(instrument, 17, **OFF)
    assert InspectionFlag.objects.count() == 1
    assert not Assessment.objects.exists()


# --- certificates -------------------------------------------------------------------------


def test_a_reading_by_an_out_of_date_instrument_is_kept_flagged_and_not_judged(agency):
    old = make_instrument(
        agency, certificate_on=date(2025, 5, 1), certificate_due_on=date(2026, 5, 1)
    )
    sign = make_sign(agency)
    read(sign, old, 9)
    flag = InspectionFlag.objects.get()
    assert (flag.reason, flag.check_made) == ("certificate_expired", None)
    assert verdict(sign) == "no usable reading"
    white = Assessment.objects.get(sign=sign).elements.get(color="white")
    assert "the certificate of the instrument was out of date; not settled yet" in white.reason


def test_the_due_day_itself_is_in_date_by_the_agencys_own_clock(agency):
    agency.time_zone = "America/Chicago"
    agency.save()
    old = make_instrument(agency, certificate_due_on=date(2026, 5, 27))
    # 04:00 UTC on 28 May is 23:00 on 27 May in Chicago (summer time, UTC−5).
    read(make_sign(agency), old, 4)
    assert not InspectionFlag.objects.exists()
    read(make_sign(agency), old, 6)
    assert InspectionFlag.objects.count() == 1


def test_an_unknown_certificate_flags_nothing(agency):
    unknown = make_instrument(agency, certificate_on=None, certificate_due_on=None)
    sign = make_sign(agency)
    read(sign, unknown, 9)
    assert not InspectionFlag.objects.exists()
    assert verdict(sign) == "meets"


def test_a_new_certificate_keeps_the_one_before_and_its_days(agency, instrument):
    engineer = make_person(agency)
    set_certificate(
        instrument=instrument,
        certificate_on=date(2026, 5, 20),
        certificate_due_on=date(2027, 5, 20),
        by=engineer,
        now=NOW,
    )
    earlier = EarlierCertificate.objects.get(instrument=instrument)
    assert (earlier.certificate_on, earlier.certificate_due_on, earlier.replaced_by) == (
        date(2026, 1, 10),
        date(2027, 1, 10),
        engineer,
    )
    entry = LogbookEntry.objects.get(verb="set certificate")
    assert entry.detail["before"] == ["2026-01-10", "2027-01-10"]
    assert entry.text == (
        "Certificate of instrument RM-7: of 2026-05-20, due 2027-05-20; before, of 2026-01-10, "
        "due 2027-01-10."
    )
    instrument.refresh_from_db()
    assert instrument.certificate_on == date(2026, 5, 20)


def test_the_same_certificate_twice_is_one(instrument):
    set_certificate(
        instrument=instrument,
        certificate_on=date(2026, 1, 10),
        certificate_due_on=date(2027, 1, 10),
        now=NOW,
    )
    assert not EarlierCertificate.objects.exists()
    assert not LogbookEntry.objects.filter(verb="set certificate").exists()


def test_a_reading_of_the_gap_between_two_certificates_that_arrives_late_is_flagged(agency):
    lapsed = make_instrument(
        agency, certificate_on=date(2025, 5, 1), certificate_due_on=date(2026, 5, 1)
    )
    set_certificate(
        instrument=lapsed,
        certificate_on=date(2026, 5, 30),
        certificate_due_on=date(2027, 5, 30),
        now=NOW,
    )
    gap = read(make_sign(agency), lapsed, 9)
    assert flagged() == [gap.pk]


def test_a_due_date_put_right_flags_the_readings_it_leaves_out(agency, instrument):
    sign = make_sign(agency)
    seen = read(sign, instrument, 9)
    assert verdict(sign) == "meets"
    set_certificate(
        instrument=instrument,
        certificate_on=date(2026, 1, 10),
        certificate_due_on=date(2026, 5, 1),
        now=NOW,
    )
    assert flagged() == [seen.pk]
    assert verdict(sign) == "no usable reading"


def test_a_certificate_that_covers_flagged_days_leaves_them_to_a_person(agency):
    old = make_instrument(agency, certificate_due_on=date(2026, 5, 1))
    sign = make_sign(agency)
    read(sign, old, 9)
    set_certificate(
        instrument=old,
        certificate_on=date(2026, 5, 1),
        certificate_due_on=date(2027, 5, 1),
        now=NOW,
    )
    assert verdict(sign) == "no usable reading"


@pytest.mark.parametrize(
    ("given", "due", "words"),
    [
        (date(2026, 6, 2), date(2027, 6, 2), "still to come"),
        (date(2026, 5, 2), date(2026, 5, 1), "before it was given"),
    ],
)
def test_a_certificate_with_impossible_dates_is_refused(instrument, given, due, words):
    with pytest.raises(OutOfRangeError, match=words):
        set_certificate(
            instrument=instrument, certificate_on=given, certificate_due_on=due, now=NOW
        )
    assert not EarlierCertificate.objects.exists()


# --- at the same moment -------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_two_checks_at_once_flag_a_reading_once():
    agency = make_agency()
    instrument = make_instrument(agency)
    read(make_sign(agency), instrument, 9)
    results = together(
        lambda: check(instrument, 17, **OFF), lambda: check(instrument, 17.5, **OFF)
    )
    assert all(isinstance(each, InstrumentCheck) for each in results), results
    assert InspectionFlag.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_check_sent_by_two_requests_at_once_is_stored_once():
    agency = make_agency()
    instrument, key = make_instrument(agency), uuid.uuid4()
    read(make_sign(agency), instrument, 9)
    results = together(
        *[lambda: check(instrument, 17, client_uuid=key, **OFF) for _ in range(3)]
    )
    assert len({getattr(each, "pk", each) for each in results}) == 1, results
    assert InstrumentCheck.objects.count() == InspectionFlag.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_check_and_a_reading_at_once_know_of_each_other():
    agency = make_agency()
    instrument, sign = make_instrument(agency), make_sign(agency)
    results = together(lambda: check(instrument, 17, **OFF), lambda: read(sign, instrument, 9))
    assert not [each for each in results if isinstance(each, Exception)], results
    assert InspectionFlag.objects.count() == 1
    assert verdict(sign) == "no usable reading"

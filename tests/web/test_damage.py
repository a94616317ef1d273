"""The pages of damage: by the clock, told at the desk, closed, corrected, in a package."""

from __future__ import annotations

import re
import uuid
from datetime import date, timedelta

import pytest
from django.urls import reverse

from inventory.models import (
    DamageClosure,
    DamageReport,
    DamageStanding,
    PackageStop,
    Role,
    Sign,
    WorkPackage,
)
from inventory.services.damage import Told, close_damage, report_damage
from inventory.services.inspection import ObservationInput, PhotoInput, record_inspection
from inventory.services.people import create_organisation, policy_at
from inventory.services.work_packages import WantedStop, make_package
from tests.factories import (
    NOW,
    make_agency,
    make_sign,
    make_standing,
    make_support,
    position_of,
)
from tests.services.test_photos import picture
from tests.web.acting import PAGE_TIME, act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _still(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency(damage_days={"severe": {"1": 1}})


@pytest.fixture
def sign(agency):
    return make_sign(agency)


def tell(sign, kind="knocked_down", **fields):
    told = Told(kind=kind, channel="call", told_by="the school", severity=3, **fields)
    return report_damage(position=position_of(sign), told=told, now=NOW)


def shown(client, name, *args, query=""):
    answer = client.get(reverse(name, args=args) + query)
    assert answer.status_code == 200
    return answer.content.decode()


def typed(**changes):
    fields = {
        "client_uuid": str(uuid.uuid4()),
        "kind": "knocked_down",
        "severity": "",
        "channel": "call",
        "told_by": "a caller",
        "reported_on": "2026-06-01",
        "reported_time": "",
        "notified_on": "2026-06-01",
        "notified_time": "13:30",
        "description": "in the ditch",
    }
    return fields | changes


def test_overdue_is_said_in_words_and_drawn_as_a_shape_of_its_own(client, sign, agency):
    tell(sign, notified_at=NOW - 3 * DAY)
    act_as(client, agency)
    page = shown(client, "damage-list")
    assert "overdue by 2 days" in page
    assert '<use href="#clock-late"/>' in page
    assert "Protect the place first" in page
    assert "traffic control plan" in page
    today = shown(client, "overview")
    assert "overdue by 2 days" in today
    assert "1 overdue" in today


def test_the_list_is_narrowed_to_class_and_to_what_is_overdue(client, sign, agency):
    tell(sign, notified_at=NOW - 3 * DAY)
    guide = make_sign(agency, sign_code="D1-1")
    tell(guide, notified_at=NOW)
    crew = act_as(client, agency, Role.CREW)
    assert crew.pk

    def codes(query):
        page = shown(client, "damage-list", query=query)
        return re.findall(r'<span class="code">([^<]*)', page)

    assert codes("") == ["R1-1", "D1-1"]
    assert codes("?safety_class=4") == ["D1-1"]
    assert codes("?show=late") == ["R1-1"]
    assert codes("?show=over") == []
    assert client.get(reverse("damage-list") + "?show=all").status_code == 400


def test_a_long_list_is_paged_in_few_queries(client, agency, django_assert_max_num_queries):
    support = make_support(agency)
    for number in range(3):
        tell(make_sign(agency), notified_at=NOW - number * DAY)
    rows = DamageStanding.objects.order_by("report")
    DamageReport.objects.bulk_create(
        DamageReport(
            organisation=agency,
            position=rows[0].position,
            channel="desk",
            kind="bent",
            severity=2,
            entered_at=NOW,
        )
        for _ in range(60)
    )
    DamageStanding.objects.bulk_create(
        DamageStanding(
            report=each,
            organisation=agency,
            position=rows[0].position,
            kind="bent",
            severity=2,
            safety_class=1,
            is_open=True,
            counted_from_on=NOW.date(),
            sort_on=NOW.date(),
            rebuilt_at=NOW,
        )
        for each in DamageReport.objects.filter(channel="desk")
    )
    assert support.pk
    act_as(client, agency)
    with django_assert_max_num_queries(14):
        page = shown(client, "damage-list")
    assert "1 to 50 of 63" in page
    assert "51 to 63 of 63" in shown(client, "damage-list", query="?page=2")


def test_the_desk_finds_the_sign_and_writes_down_what_was_told(client, sign, agency):
    user = act_as(client, agency)
    make_standing(sign)
    found = shown(client, "damage-new", query="?q=R1")
    address = f"{reverse('damage-new')}?position={sign.position_id}"
    assert address in found
    assert "The agency was told" in client.get(address).content.decode()
    answer = client.post(address, typed())
    report = DamageReport.objects.get()
    assert answer.url == reverse("damage-page", args=(report.pk,))
    assert (report.sign, report.entered_by, report.told_by) == (sign, user, "a caller")
    assert report.reported_precision == "day"
    assert report.notified_precision == "minute"
    page = shown(client, "damage-page", report.pk)
    for words in ("in the ditch", "Told by telephone: a caller", "2026-06-01 13:30"):
        assert words in page


def test_the_desk_starts_from_the_page_of_a_face_that_is_gone(client, agency):
    gone = make_sign(agency, state="removed", removal_reason="stolen")
    act_as(client, agency)
    address = f"{reverse('damage-new')}?sign={gone.pk}"
    assert "no face is on record here" in client.get(address).content.decode()
    client.post(address, typed(kind="missing"))
    assert DamageReport.objects.get().position == gone.position


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kind": ""}, "Say what is wrong with the sign."),
        ({"channel": ""}, "Say how the agency was told."),
        ({"told_by": ""}, "gave no name"),
        ({"notified_time": "25:99"}, "is not a time of day"),
        ({"reported_on": "", "reported_time": "10:00"}, "A time was given without its day"),
        ({"notified_on": "2026-07-01"}, "still to come"),
        ({"kind": "bent"}, "Say how bad it is"),
    ],
)
def test_what_is_refused_keeps_what_was_typed(client, sign, agency, changes, words):
    act_as(client, agency)
    answer = client.post(
        f"{reverse('damage-new')}?position={sign.position_id}", typed(**changes)
    )
    assert answer.status_code == 400
    page = answer.content.decode().replace("&#x27;", "'")
    assert words in page
    assert "in the ditch" in page
    assert not DamageReport.objects.exists()


def test_the_same_told_again_is_asked_about_and_kept_once_confirmed(client, sign, agency):
    tell(sign)
    act_as(client, agency)
    address = f"{reverse('damage-new')}?position={sign.position_id}"
    assert "Open here already" in client.get(address).content.decode()
    answer = client.post(address, typed())
    assert answer.status_code == 400
    assert "It is another one; keep it too." in answer.content.decode()
    assert client.post(address, typed(is_confirmed="on")).status_code == 302
    assert DamageReport.objects.count() == 2


def test_stock_that_fits_is_proposed_and_a_face_put_up_closes_it(client, sign, agency):
    report = tell(sign)
    face = Sign.objects.create(
        owner=agency,
        state="in_stock",
        label_id="001-0JK",
        sign_code="R1-1",
        width_in=30.0,
        height_in=30.0,
        fabricated_on=date(2025, 3, 2),
    )
    face.colour_areas.create(
        number=1, part="background", color="red", sheeting_type="XI", optics="prismatic"
    )
    face.colour_areas.create(
        number=2, part="legend", color="white", sheeting_type="XI", optics="prismatic"
    )
    act_as(client, agency)
    page = shown(client, "damage-page", report.pk)
    assert "label 001-0JK" in page
    assert reverse("install-face", args=(sign.position_id,)) in page
    read_reminder(client)
    client.post(
        reverse("install-face", args=(sign.position_id,)),
        {
            "replaces": sign.pk,
            "label_id": "001-0JK",
            "installed_on": "2026-06-01",
            "removal_reason": "knocked_down",
            "removed_note": "",
        },
    )
    page = shown(client, "damage-page", report.pk)
    assert "a new face was put up the day it was known, in time" in page
    assert DamageClosure.objects.get().new_sign == face


def test_closed_by_hand_from_the_page_and_taken_back_again(client, sign, agency):
    report = tell(sign)
    act_as(client, agency)
    address = reverse("damage-close", args=(report.pk,))
    fields = {"client_uuid": str(uuid.uuid4()), "done_on": "2026-06-01", "done_time": ""}
    answer = client.post(address, fields | {"way": "nothing", "note": ""})
    assert answer.status_code == 400
    assert "Say why there is nothing to do" in answer.content.decode()
    assert (
        client.post(address, fields | {"way": "repaired", "note": "new post"}).status_code
        == 302
    )
    page = shown(client, "damage-page", report.pk)
    assert "new post" in page
    answer = client.post(reverse("damage-reopen", args=(report.pk,)), {"reason": ""})
    assert "Say in a few words why" in answer.content.decode()
    client.post(reverse("damage-reopen", args=(report.pk,)), {"reason": "down again"})
    assert DamageStanding.objects.get().is_open
    assert "Taken back" in shown(client, "damage-page", report.pk)


def test_told_of_twice_is_offered_only_where_another_is_open(client, sign, agency):
    report = tell(sign)
    act_as(client, agency)
    assert "Told of twice" not in shown(client, "damage-page", report.pk)
    other = tell(sign, "missing")
    assert "Told of twice" in shown(client, "damage-page", report.pk)
    client.post(
        reverse("damage-close", args=(other.pk,)),
        {"client_uuid": str(uuid.uuid4()), "way": "same", "same_as": report.pk, "note": ""},
    )
    assert DamageStanding.objects.get(report=other).way == "same"


def test_a_crew_closes_and_reports_but_plans_and_corrects_nothing(client, sign, agency):
    report = tell(sign)
    act_as(client, agency, Role.CREW)
    assert "Put it into a work package" not in shown(client, "damage-page", report.pk)
    for name in ("damage-correct", "damage-reopen", "damage-package"):
        assert client.post(reverse(name, args=(report.pk,))).status_code == 403
    assert client.get(reverse("damage-times")).status_code == 403
    client.post(
        reverse("damage-close", args=(report.pk,)),
        {"client_uuid": str(uuid.uuid4()), "way": "repaired", "note": ""},
    )
    assert not DamageStanding.objects.get().is_open


def test_a_report_is_corrected_by_another_one(client, sign, agency):
    report = tell(sign, notified_at=NOW)
    act_as(client, agency)
    address = reverse("damage-correct", args=(report.pk,))
    assert 'value="the school"' in client.get(address).content.decode()
    answer = client.post(address, typed(notified_on="2026-05-30", reason=""))
    assert "Say why the report is corrected." in answer.content.decode()
    client.post(address, typed(notified_on="2026-05-30", reason="call log"))
    later = DamageReport.objects.get(corrects=report)
    assert "was corrected and counts no more" in shown(client, "damage-page", report.pk)
    assert "overdue by 1 day" in shown(client, "damage-page", later.pk)


def test_a_crews_report_shows_its_photo_and_can_be_corrected_at_the_desk(client, sign, agency):
    record_inspection(
        sign=sign,
        taken_at=NOW,
        how="visual_day",
        observations=[ObservationInput("knocked_down", 3)],
        photos=[PhotoInput(content=picture())],
        now=NOW,
    )
    report = DamageReport.objects.get()
    act_as(client, agency)
    photo = sign.photos.get()
    assert reverse("sign-photo", args=(photo.pk,)) in shown(client, "damage-page", report.pk)
    address = reverse("damage-correct", args=(report.pk,))
    client.post(address, typed(channel="visit", told_by="", kind="missing", reason="gone"))
    later = DamageReport.objects.get(corrects=report)
    assert later.channel == "visit"
    assert reverse("sign-photo", args=(photo.pk,)) in shown(client, "damage-page", later.pk)


def test_damage_goes_into_a_package_with_the_crew_at_once(client, sign, agency):
    report = tell(sign)
    act_as(client, agency)
    address = reverse("damage-package", args=(report.pk,))
    client.post(address, {"package": "", "work_on": "2026-06-01"})
    package = WorkPackage.objects.get()
    assert package.state == WorkPackage.State.HANDED_OUT
    assert PackageStop.objects.get().task == "replace"
    assert reverse("package-page", args=(package.pk,)) in shown(client, "damage-list")
    assert package.title in shown(client, "damage-page", report.pk)


def test_damage_joins_a_package_that_is_still_put_together(client, sign, agency):
    draft = make_package(
        organisation=agency,
        title="North round",
        work_on=NOW.date(),
        stops=[WantedStop(position_of(make_sign(agency)), "read")],
        now=NOW,
    )
    report = tell(sign, "leaning")
    act_as(client, agency)
    address = reverse("damage-package", args=(report.pk,))
    client.post(address, {"package": draft.pk, "work_on": "2026-06-01"})
    stop = draft.stops.get(position=sign.position)
    assert (stop.task, stop.note) == ("repair", f"Leaning (damage {report.pk})")
    close_damage(report=report, way="repaired", now=PAGE_TIME)
    answer = client.post(address, {"package": "", "work_on": "2026-06-01"})
    assert answer.status_code == 409
    assert "is not open any more" in answer.content.decode()


def test_the_engineer_sets_the_times_and_open_damage_goes_by_them(client, sign, agency):
    report = tell(sign, "bent", notified_at=NOW)
    act_as(client, agency)
    page = shown(client, "damage-times")
    assert "A crew goes at once" in page
    assert "City of Lincoln, Nebraska" in page
    times = {"effective_on": "2026-06-01", "basis": "board of 1 June", "severe_1": "0"}
    answer = client.post(reverse("damage-times"), times | {"moderate_2": "soon"})
    assert answer.status_code == 400
    assert "Days are whole numbers" in answer.content.decode()
    client.post(reverse("damage-times"), times | {"moderate_2": "14"})
    policy = policy_at(agency, NOW.date())
    assert policy.damage_days == {"severe": {"1": 0}, "moderate": {"2": 14}}
    assert policy.version == 2
    assert DamageStanding.objects.get(report=report).due_on == NOW.date()
    assert "today is the last day" in shown(client, "damage-list")


def test_an_agency_without_rules_is_sent_to_set_them_first(client):
    agency = create_organisation(name="New County", kind="agency")
    act_as(client, agency)
    assert "No rules are in force yet" in shown(client, "damage-times")
    answer = client.post(
        reverse("damage-times"), {"effective_on": "2026-06-01", "basis": "board"}
    )
    assert answer.status_code == 409


def test_times_taken_are_told_by_class_and_by_month_and_the_unknown_as_such(client, agency):
    for day, done in ((1, 1), (1, 3), (2, 12), (20, None)):
        report = report_damage(
            position=position_of(make_sign(agency)),
            told=Told(kind="missing", channel="desk", notified_at=date(2026, 5, day)),
            now=NOW,
        )
        done_at = None if done is None else date(2026, 5, done)
        close_damage(report=report, way="repaired", done_at=done_at, now=NOW)
    tell(make_sign(agency), notified_at=NOW)
    act_as(client, agency)
    page = re.sub(r"<[^>]*>", " ", shown(client, "damage-list", query="?show=over"))
    words = " ".join(page.split())
    # Reports, median, nine in ten, in time, still open, nothing to do, days not known.
    assert "1: Stop, Yield, Do Not Enter, Wrong Way 5 2 10 1 of 3 1 0 1" in words
    assert "May 2026 , class 1 4 2 10 1 of 3 0 0 1" in words
    assert "Jun 2026 , class 1 1 none yet none yet no time set 1 0 0" in words


def test_the_signs_page_says_what_is_open_and_what_was(client, sign, agency):
    report = tell(sign)
    act_as(client, agency)
    page = shown(client, "sign-page", sign.pk)
    assert reverse("damage-page", args=(report.pk,)) in page
    assert "Damage reported: knocked down" in page
    close_damage(report=report, way="repaired", now=PAGE_TIME)
    page = shown(client, "sign-page", sign.pk)
    assert reverse("damage-page", args=(report.pk,)) not in page
    assert "is closed: repaired or straightened" in page

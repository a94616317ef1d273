"""The engineer's desk for what comes from phones: two crews' faces, a slip, a sign twice."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from inventory.models import DeviceOperation, Inspection, Role, Sign, SignMerge
from tests.browser.acting import overflow_px, sign_in
from tests.factories import NOW, make_agency, make_position, make_sign, make_support
from tests.services.exchange.phones import Phone, readings_of
from tests.web.acting import stop_the_clock

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LABELS = ("000-01Y", "001-0JK")
LISTS = (
    "/from-phones/",
    "/from-phones/?show=waiting",
    "/said-to-be-wrong/",
    "/signs/added/",
    "/refused/",
    "/recorded-twice/",
    "/recorded-twice/?show=supports",
    "/phones/",
)


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    """Two crews with a face each for one place, a slip of a key, and a sign added twice."""
    agency = make_agency("Alder County")
    support = make_support(agency)
    old = make_sign(agency, position=make_position(agency, support=support))
    phones = [Phone(agency), Phone(agency)]
    for phone, label in zip(phones, LABELS, strict=True):
        Sign.objects.create(
            owner=agency,
            state=Sign.State.IN_STOCK,
            sign_code="R1-1",
            width_in=30.0,
            height_in=30.0,
            label_id=label,
        )
        phone.record(
            "install",
            {
                "position": {"id": old.position_id},
                "face": {"label": label},
                "installed_on": NOW.date().isoformat(),
                "replaces": {"id": old.pk},
                "removal_reason": "faded",
            },
        )
        phone.send()
    other = make_sign(agency, position=make_position(agency, support=make_support(agency)))
    phones[0].record("inspection", readings_of({"id": other.pk}, "-60", "12"))
    point = {"latitude_deg": 43.0001, "longitude_deg": -89.5, "accuracy_m": 6.0}
    phones[0].record("add_sign", {"support": {"new": point}, "sign_code": "R1-1"})
    phones[0].record(
        "flag_record", {"sign": {"id": other.pk}, "field": "size", "said": "it is 36 in"}
    )
    phones[0].send()
    return agency


def open_entry(page, state, kind):
    entry = DeviceOperation.objects.get(state=state, kind=kind)
    page.locator(f"#entry-{entry.pk} a.button").click()
    page.wait_for_url(f"**/from-phones/{entry.pk}/")


def test_the_other_crews_face_is_applied_after_both_were_compared(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.click("text=Decide about them")
    open_entry(desk, "held", "install")
    versions = desk.locator(".versions")
    expect(versions).to_contain_text(LABELS[0])
    expect(versions).to_contain_text(LABELS[1])
    desk.locator("#id_why").fill("seen from the road this morning")
    desk.get_by_role("button", name="Apply this entry").click()
    expect(desk.locator(".messages")).to_contain_text("Applied as it was sent")
    assert Sign.objects.get(label_id=LABELS[1]).state == "installed"
    assert Sign.objects.get(label_id=LABELS[0]).state == "removed"


def test_a_slip_of_a_key_is_put_right_at_the_desk(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.goto(f"{live_server.url}/from-phones/")
    open_entry(desk, "refused", "inspection")
    desk.get_by_label("White readings").fill("60")
    desk.get_by_label("Why you change it").fill("a minus too much")
    desk.get_by_role("button", name="Send it again").click()
    expect(desk.locator(".messages")).to_contain_text("Put right and applied")
    white = Inspection.objects.get().reading_sets.get(color="white")
    assert white.readings.get().typed == "60"


def test_a_sign_added_twice_is_merged_and_taken_apart(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.goto(f"{live_server.url}/signs/added/")
    desk.get_by_role("link", name="Compare").first.click()
    desk.get_by_label("Why").fill("one face, a little off")
    desk.get_by_role("button", name="Merge into").click()
    expect(desk.locator("main")).to_contain_text("Also on record as")
    merge = SignMerge.objects.get()
    desk.goto(f"{live_server.url}/recorded-twice/")
    desk.locator(f"#reason-{merge.pk}").fill("two faces after all")
    desk.get_by_role("button", name="Undo").click()
    expect(desk.locator(".messages")).to_contain_text("the two are apart again")
    assert Sign.objects.get(pk=merge.duplicate_id).state == "installed"


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_no_page_is_wider_than_its_screen(size, request, live_server, agency):
    page = request.getfixturevalue(size)
    sign_in(page, live_server.url, agency, Role.ENGINEER)
    entries = DeviceOperation.objects.filter(state__in=("held", "refused"))
    added = Sign.objects.get(wrong_data_flags__field="added")
    addresses = [
        *LISTS,
        *(f"/from-phones/{each.pk}/" for each in entries),
        f"/phones/{agency.devices.first().pk}/",
        f"/signs/{added.pk}/recorded-twice/",
    ]
    for address in addresses:
        page.goto(f"{live_server.url}{address}")
        assert overflow_px(page) == 0, address

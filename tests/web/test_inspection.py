"""Recording at the roadside: who may, what is stored, what is kept when it is refused."""

import io
import re
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from inventory.models import (
    Inspection,
    Instrument,
    Observation,
    Photo,
    Reading,
    Role,
)
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.kept_photos import kept_photo
from tests.factories import NOW, make_agency, make_shop, make_sign
from tests.web.acting import act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def crew(client, agency):
    user = act_as(client, agency, Role.CREW)
    read_reminder(client)
    return user


def readings_form(**fields):
    """Return four values on the red and four on the white of a Stop sign."""
    return {
        "client_uuid": str(uuid.uuid4()),
        "taken_at": "2026-06-01T11:30",
        "observation_angle_deg": "0.2",
        "entrance_angle_deg": "−4.0",
        "surface_state": "dry",
        "note": "leaning a little",
        **{f"value_0_{n}": text for n, text in enumerate(("12", "12.5", "11.8", "12.1"))},
        **{f"value_1_{n}": text for n, text in enumerate(("60", "61", "59.5", "60.2"))},
    } | fields


def a_photo(name="sign.png"):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, "PNG")
    return SimpleUploadedFile(name, out.getvalue(), "image/png")


def readings_address(sign):
    return reverse("record-readings", args=(sign.pk,))


def test_the_reminder_comes_before_the_first_action_of_a_day(client, agency):
    act_as(client, agency, Role.CREW)
    address = readings_address(make_sign(agency))
    answer = client.get(address)
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("road-safety"))
    page = client.get(answer["Location"]).content.decode()
    assert "vest" in page
    assert "Never measure from the travel lane" in page
    assert "not training" in page
    onward = client.post(reverse("road-safety"), {"next": address})
    assert onward["Location"] == address
    assert client.get(address).status_code == 200


def test_the_reminder_comes_again_the_next_day(client, agency, crew, monkeypatch):
    address = readings_address(make_sign(agency))
    assert client.get(address).status_code == 200
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=1))
    assert client.get(address).status_code == 302


def test_a_form_that_was_open_at_midnight_is_not_lost_to_the_reminder(client, agency):
    act_as(client, agency, Role.CREW)
    sign = make_sign(agency)
    assert client.post(readings_address(sign), readings_form()).status_code == 302
    assert Inspection.objects.filter(sign=sign).count() == 1


def test_the_reminder_leads_to_no_other_site(client, agency):
    act_as(client, agency, Role.CREW)
    answer = client.post(reverse("road-safety"), {"next": "https://elsewhere.example/"})
    assert answer["Location"] == reverse("near-me")


def test_readings_are_stored_as_they_were_typed(client, agency, crew):
    sign = make_sign(agency)
    answer = client.post(readings_address(sign), readings_form())
    assert answer["Location"] == reverse("crew-sign", args=(sign.pk,))
    inspection = Inspection.objects.get(sign=sign)
    assert inspection.inspector == crew
    assert inspection.how == "hand_held"
    assert inspection.taken_at == datetime(2026, 6, 1, 11, 30, tzinfo=UTC)
    sets = inspection.reading_sets.order_by("number")
    assert [each.color for each in sets] == ["red", "white"]
    assert [r.typed for r in sets[0].readings.order_by("number")] == [
        "12",
        "12.5",
        "11.8",
        "12.1",
    ]
    # The Stop sign's levels are white 35 and red 7, contrast 3:1 (MUTCD 11th edition,
    # Table 2A-5): 60.2 and 12.1 on average meet them.
    page = client.get(answer["Location"]).content.decode()
    assert "meets" in page


def test_an_engineer_may_record_too(client, agency):
    act_as(client, agency, Role.ENGINEER)
    sign = make_sign(agency)
    assert client.post(readings_address(sign), readings_form()).status_code == 302
    assert Inspection.objects.filter(sign=sign).exists()


def test_the_shop_records_no_readings(client, agency):
    shop = make_shop("Tern Signs", agency)
    act_as(client, shop, Role.SHOP)
    sign = make_sign(agency, maker=shop)
    assert client.post(readings_address(sign), readings_form()).status_code == 403
    assert not Inspection.objects.exists()


def test_a_sign_of_another_agency_is_no_page(client, crew):
    sign = make_sign(make_agency())
    assert client.get(readings_address(sign)).status_code == 404
    assert client.post(readings_address(sign), readings_form()).status_code == 404


def test_a_double_tap_stores_once(client, agency, crew):
    sign = make_sign(agency)
    form = readings_form()
    for _ in range(2):
        answer = client.post(readings_address(sign), form | {"photo": a_photo()})
        assert answer.status_code == 302
    assert Inspection.objects.count() == 1
    assert Reading.objects.count() == 8
    assert Photo.objects.count() == 1


def test_each_page_gives_its_record_a_key_of_its_own(client, agency, crew):
    sign = make_sign(agency)
    keys = {
        key
        for _ in range(2)
        for key in re.findall(
            r'name="client_uuid" value="([^"]+)"',
            client.get(readings_address(sign)).content.decode(),
        )
    }
    assert len(keys) == 2


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("value_0_2", "11,8", "is not a number"),
        ("value_1_0", "6000", "more than any sign sheeting returns"),
        ("observation_angle_deg", "20", "no sign instrument"),
        ("observation_angle_deg", "", "Say at which observation angle"),
        ("taken_at", "2026-07-01T09:00", "still to come"),
        ("taken_at", "yesterday", "is not a date and time"),
    ],
)
def test_refused_readings_keep_everything_that_was_typed(
    client, agency, crew, field, value, sentence
):
    sign = make_sign(agency)
    form = readings_form() | {field: value}
    answer = client.post(readings_address(sign), form)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert sentence in page
    for name, text in form.items():
        if name not in ("note", "surface_state", "photo"):
            assert f'name="{name}" value="{text}"' in page or not text, name
    assert "leaning a little" in page
    assert re.search(r'value="dry"[^>]*checked', page)
    assert not Inspection.objects.exists()


def test_no_reading_at_all_is_refused(client, agency, crew):
    form = {k: v for k, v in readings_form().items() if not k.startswith("value")}
    answer = client.post(readings_address(make_sign(agency)), form)
    assert answer.status_code == 400
    assert "No reading was typed" in answer.content.decode()


def test_the_photo_of_a_refused_form_is_kept_and_stored_later(client, agency, crew):
    sign = make_sign(agency)
    form = readings_form()
    key = uuid.UUID(form["client_uuid"])
    refused = client.post(
        readings_address(sign), form | {"value_0_0": "1,2", "photo": a_photo()}
    )
    assert "The photo you sent is kept" in refused.content.decode()
    assert kept_photo(by=crew, client_uuid=key) is not None
    assert client.post(readings_address(sign), form).status_code == 302
    assert Photo.objects.get().sign == sign
    assert kept_photo(by=crew, client_uuid=key) is None


def test_a_kept_file_that_is_no_photo_can_be_left_out(client, agency, crew):
    sign = make_sign(agency)
    form = readings_form()
    no_photo = SimpleUploadedFile("sign.jpg", b"not a picture", "image/jpeg")
    refused = client.post(readings_address(sign), form | {"photo": no_photo})
    assert refused.status_code == 400
    assert "not a picture" in refused.content.decode()
    again = client.post(readings_address(sign), form | {"leave_photo_out": "on"})
    assert again.status_code == 302
    assert not Photo.objects.exists()


def test_readings_of_a_removed_sign_are_refused_after_it_came_down(client, agency, crew):
    sign = make_sign(
        agency,
        state="removed",
        removed_on=NOW.date() - timedelta(days=9),
        removal_reason="damaged",
    )
    answer = client.post(readings_address(sign), readings_form())
    assert answer.status_code == 409
    assert "was taken down on 2026-05-23" in answer.content.decode()


def test_a_correction_starts_from_what_was_typed_and_keeps_it(client, agency, crew):
    sign = make_sign(agency)
    first = record_inspection(
        sign=sign,
        taken_at=NOW,
        how="hand_held",
        reading_sets=[ReadingSetInput("red", ["120", "12.5"])],
        now=NOW,
    )
    page = client.get(readings_address(sign), {"corrects": first.pk}).content.decode()
    assert 'name="value_0_0" value="120"' in page
    client.post(
        readings_address(sign),
        readings_form(corrects=str(first.pk), taken_at="2026-06-01T12:00"),
    )
    assert Inspection.objects.get(corrects=first).sign == sign
    assert Reading.objects.filter(reading_set__inspection=first).count() == 2


def test_the_levels_stand_beside_the_colours(client, agency, crew):
    sign = make_sign(agency)
    client.post(readings_address(sign), readings_form())
    page = client.get(readings_address(sign)).content.decode()
    # MUTCD 11th edition, Table 2A-5: white on red, white 35 and red 7 cd/lx/m².
    assert "level 35" in page
    assert "level 7" in page
    assert "unverified" not in page


def test_a_level_that_was_not_read_in_its_source_says_so_at_the_roadside(client):
    # The table of the 2009 edition was read in part only; see its 'checked' mark.
    agency = make_agency(edition="2009")
    act_as(client, agency, Role.CREW)
    read_reminder(client)
    sign = make_sign(agency)
    client.post(readings_address(sign), readings_form())
    assert 'unverified">unverified' in client.get(readings_address(sign)).content.decode()
    page = client.get(reverse("crew-sign", args=(sign.pk,))).content.decode()
    assert 'unverified">unverified' in page


def test_black_is_not_read(client, agency, crew):
    sign = make_sign(
        agency, colours=(("background", "yellow"), ("legend", "black")), sign_code="W1-2"
    )
    page = client.get(readings_address(sign)).content.decode()
    assert 'data-colour="yellow"' in page
    assert 'data-colour="black"' not in page


def test_a_face_of_unknown_colours_asks_which_colour_was_read(client, agency, crew):
    sign = make_sign(agency, colours=(), sign_code="ZZ-9")
    form = {k: v for k, v in readings_form().items() if not k.startswith("value_1")}
    answer = client.post(readings_address(sign), form)
    assert answer.status_code == 400
    assert "Say which colour" in answer.content.decode()
    assert client.post(readings_address(sign), form | {"color_0": "blue"}).status_code == 302
    assert Inspection.objects.get().reading_sets.get().color == "blue"


def test_the_instrument_used_last_is_offered_first(client, agency, crew):
    instrument = Instrument.objects.create(
        organisation=agency,
        serial="RT-5",
        observation_angle_deg="0.2",
        entrance_angle_deg="-4.0",
    )
    sign = make_sign(agency)
    client.post(readings_address(sign), readings_form(instrument=str(instrument.pk)))
    page = client.get(readings_address(sign)).content.decode()
    assert re.search(rf'<option value="{instrument.pk}" selected>', page)


def test_the_angles_start_from_the_instrument_used_last(client, agency, crew):
    instrument = Instrument.objects.create(
        organisation=agency,
        serial="RT-7",
        observation_angle_deg="0.5",
        entrance_angle_deg="-4.0",
    )
    sign = make_sign(agency)
    page = client.get(readings_address(sign)).content.decode()
    # The geometry of the maintained levels: MUTCD 11th edition, Table 2A-5, note 1.
    assert 'name="observation_angle_deg" value="0.2"' in page
    assert 'name="entrance_angle_deg" value="−4.0"' in page
    client.post(
        readings_address(sign),
        readings_form(instrument=str(instrument.pk), observation_angle_deg="0.5"),
    )
    page = client.get(readings_address(sign)).content.decode()
    assert 'name="observation_angle_deg" value="0.5"' in page
    assert 'name="entrance_angle_deg" value="−4.0"' in page


def test_the_instrument_of_another_agency_is_not_taken(client, agency, crew):
    instrument = Instrument.objects.create(
        organisation=make_agency(),
        serial="RT-6",
        observation_angle_deg="0.2",
        entrance_angle_deg="-4.0",
    )
    answer = client.post(
        readings_address(make_sign(agency)), readings_form(instrument=str(instrument.pk))
    )
    assert answer.status_code == 400
    assert not Inspection.objects.exists()


def damage_form(**fields):
    return {
        "client_uuid": str(uuid.uuid4()),
        "taken_at": "2026-06-01T11:30",
        "kind": "knocked_down",
        "severity": "3",
        "how": "visual_day",
        "note": "in the ditch",
    } | fields


def test_a_damage_report_is_stored_once_with_its_photo(client, agency, crew):
    sign = make_sign(agency)
    address = reverse("report-damage", args=(sign.pk,))
    form = damage_form()
    for _ in range(2):
        answer = client.post(address, form | {"photo": a_photo()})
        assert answer.status_code == 302
    seen = Observation.objects.get()
    assert (seen.kind, seen.severity) == ("knocked_down", 3)
    assert Photo.objects.get().inspection == seen.inspection
    assert sign.standing.condition == 4
    page = client.get(answer["Location"]).content.decode()
    assert "in the ditch" in page


@pytest.mark.parametrize("missing", ["kind", "severity", "how"])
def test_a_damage_report_says_what_is_missing_and_keeps_the_rest(client, agency, crew, missing):
    address = reverse("report-damage", args=(make_sign(agency).pk,))
    answer = client.post(address, damage_form() | {missing: ""})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "Say " in page
    assert "in the ditch" in page
    assert not Inspection.objects.exists()


def test_the_shop_reports_no_damage(client, agency):
    shop = make_shop("Tern Signs", agency)
    act_as(client, shop, Role.SHOP)
    address = reverse("report-damage", args=(make_sign(agency).pk,))
    assert client.post(address, damage_form()).status_code == 403

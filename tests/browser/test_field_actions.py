"""Every action of the field app without signal, and what the server stores once there is."""

import pytest
from django.core.management import call_command
from PIL import Image
from playwright.sync_api import expect

from inventory.engineering.production.labels import make_label
from inventory.models import (
    DeviceOperation,
    Inspection,
    InstrumentCheck,
    Observation,
    Photo,
    Road,
    Sign,
    StopResult,
    SupportMove,
    VisualRating,
    WrongDataFlag,
)
from inventory.services.exchange.settling import settle_operation
from tests.browser.acting import overflow_px
from tests.browser.field_acting import CrewPhone, hand_out_package
from tests.browser.test_field_crew import GLARING_COLOURS
from tests.factories import (
    make_agency,
    make_instrument,
    make_person,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_support,
    print_order,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def sign(agency):
    road = Road.objects.create(organisation=agency, name="Mill Road")
    support = make_support(
        agency, latitude_deg=43.0, longitude_deg=-89.5, accuracy_m=1.0, road=road
    )
    return make_sign(agency, position=make_position(agency, support=support))


@pytest.fixture
def new_phone(browser, live_server):
    """Phones, each with today's package of an agency on it, closed at the end."""
    phones = []

    def make(agency, **where):
        phone = CrewPhone(browser, live_server.url, **where)
        phones.append(phone)
        phone.prepare(agency)
        return phone

    yield make
    for phone in phones:
        phone.close()


@pytest.fixture
def phone(agency, sign, new_phone):
    make_instrument(agency, serial="RT-5", check_tolerance_rel=0.05)
    hand_out_package(agency, [sign.position])
    return new_phone(agency)


@pytest.fixture
def picture(tmp_path):
    path = tmp_path / "roadside.jpg"
    Image.new("RGB", (3200, 2400), "red").save(path)
    return path


def face_for(sign, agency):
    """Return a face printed for a sign's place."""
    shop = make_shop("Tern Signs", agency)
    order = make_released_order(agency, shop, [sign])
    print_order(order, make_press(shop, make_roll(shop)))
    return Sign.objects.get(layout_face__line__order=order)


def test_damage_with_a_photo_reaches_the_server_with_its_photo(phone, sign, picture):
    phone.go_offline()
    phone.show(f"#/damage/{sign.pk}")
    phone.page.click("text=defaced or shot at")
    phone.page.click("text=severe: cannot be relied on")
    phone.page.fill("#note", "three holes")
    phone.page.set_input_files("#photo", picture)
    phone.page.wait_for_selector("img.photo")
    phone.save()
    assert "Recorded on this phone" in phone.main()
    assert "three holes" in phone.main()
    assert not Inspection.objects.exists()
    phone.send()
    seen = Observation.objects.get()
    assert (seen.kind, seen.severity, seen.inspection.note) == (
        "vandalised",
        3,
        "three holes",
    )
    photo = Photo.objects.get()
    assert photo.inspection == seen.inspection
    # Made smaller on the phone: 3,200 pixels come down to 2,560.
    with photo.image.open() as stored, Image.open(stored) as image:
        assert max(image.size) <= 2560


def test_a_missing_sign_is_one_tap(phone, sign):
    phone.go_offline()
    phone.show(f"#/damage/{sign.pk}")
    phone.page.click("text=It is missing")
    phone.wait_for_heading("R1-1 Stop")
    assert "missing" in phone.main()
    phone.send()
    assert Observation.objects.values_list("kind", "severity").get() == ("missing", 3)


def test_undo_within_ten_seconds_sends_nothing(phone, sign):
    phone.show(f"#/note/{sign.pk}")
    phone.page.fill("#note", "wrong sign")
    phone.save()
    phone.page.click("text=Undo")
    phone.page.wait_for_selector("[data-said] >> text=Undone")
    # The form is there again, filled in as it was.
    phone.wait_for_heading("Write a note")
    assert phone.page.input_value("#note") == "wrong sign"
    phone.show("#/outbox")
    phone.page.click("text=Sent in the last 30 days")
    phone.page.wait_for_selector("text=undone, never sent")
    assert not DeviceOperation.objects.exists()


def test_what_is_on_the_server_is_not_undone_but_said_so(phone, sign):
    phone.show(f"#/note/{sign.pk}")
    phone.page.fill("#note", "kept")
    phone.save()
    phone.send()
    phone.page.click("text=Undo")
    phone.page.wait_for_selector("[data-said] >> text=It is on the server already")
    assert DeviceOperation.objects.get().state == "applied"


def test_a_note_a_wrong_record_and_a_look_by_night(phone, sign):
    phone.go_offline()
    phone.show(f"#/note/{sign.pk}")
    phone.page.fill("#note", "hedge cut back")
    # Day colours at night, or night colours by day: the person says when it was seen.
    phone.page.click("text=by night")
    phone.save()
    phone.show(f"#/wrong-data/{sign.pk}")
    phone.page.click("text=the size")
    assert "On record: 30 × 30 in" in phone.main()
    phone.page.fill("#said", "it is 36 by 36")
    phone.save()
    phone.show(f"#/night/{sign.pk}")
    phone.page.click("text=Consistent parameters")
    phone.page.fill("#inspector_age_years", "57")
    phone.page.select_option("#vehicle_kind", "SUV")
    phone.page.fill("#vehicle_model_year", "2019")
    phone.page.check("#low_beams_aimed")
    phone.page.click("text=not adequate: replace it")
    phone.page.click("[data-save]")
    # The procedure's own bound, engineering/standards/tables/night_procedures.toml.
    phone.page.wait_for_selector("[data-refusal] >> text=asks for 60 years or more")
    phone.page.fill("#inspector_age_years", "61")
    phone.save()
    phone.send()
    assert Inspection.objects.get(note="hedge cut back").how == "visual_night"
    flag = WrongDataFlag.objects.get()
    assert (flag.field, flag.said) == ("size", "it is 36 by 36")
    rating = VisualRating.objects.get()
    assert rating.is_adequate is False
    assert rating.evidence["inspector_age_years"] == "61"


def test_an_instrument_check_shows_its_result_at_once(phone):
    phone.go_offline()
    phone.show("#/check")
    phone.page.click("text=RT-5")
    phone.page.fill("#reference", "100")
    phone.page.fill("#shown", "105.1")
    phone.page.wait_for_selector("[data-result] >> text=Outside its tolerance")
    phone.page.fill("#shown", "105")
    phone.page.wait_for_selector("[data-result] >> text=Good")
    phone.save()
    phone.send()
    check = InstrumentCheck.objects.get()
    assert check.is_within_tolerance
    assert check.shown_ra_cd_lx_m2 == 105


def test_a_stop_not_done_says_why(phone, sign):
    stop = sign.position.package_stops.get()
    phone.go_offline()
    phone.show(f"#/stop/{stop.pk}")
    phone.page.click("text=not done")
    phone.page.click("[data-save]")
    phone.page.wait_for_selector("[data-refusal] >> text=Say why")
    phone.page.click("text=not safe to stop there")
    phone.save()
    phone.send()
    result = StopResult.objects.get()
    assert (result.stop, result.outcome, result.reason) == (
        stop,
        "not_done",
        "not safe to stop there",
    )


def test_a_face_taken_down_is_gone_on_the_phone_before_it_is_sent(phone, sign):
    phone.go_offline()
    phone.show(f"#/remove/{sign.pk}")
    phone.page.click("text=no longer needed")
    phone.save()
    phone.page.wait_for_selector("text=This face was taken down")
    phone.send()
    sign.refresh_from_db()
    assert (sign.state, sign.removal_reason) == ("removed", "not_needed")


def test_a_support_moves_only_when_the_person_says_so(agency, sign, new_phone):
    hand_out_package(agency, [sign.position])
    phone = new_phone(agency, latitude_deg=43.0003, accuracy_m=6)
    phone.go_offline()
    support = sign.position.support
    phone.show(f"#/move/{support.pk}")
    # 0.0003° of latitude is 33 m, 109 ft; the record is good to 1 m, the phone to 6 m.
    phone.page.wait_for_selector("text=You stand 110 ft north")
    phone.page.click("[data-save]")
    phone.page.wait_for_selector("[data-refusal] >> text=Tick that it is moved all the same")
    assert not SupportMove.objects.exists()
    phone.page.check("#sure")
    phone.page.fill("#reason", "set back behind the ditch")
    phone.save()
    phone.send()
    move = SupportMove.objects.get()
    assert (move.from_latitude_deg, move.to_latitude_deg) == (43.0, 43.0003)
    assert (move.to_accuracy_m, move.reason) == (6, "set back behind the ditch")


def test_an_unknown_sign_is_added_and_worked_on_before_it_is_sent(agency, sign, new_phone):
    hand_out_package(agency, [sign.position])
    phone = new_phone(agency, latitude_deg=43.001)
    phone.go_offline()
    phone.show("#/add-sign")
    phone.page.wait_for_selector("[data-fix] >> text=Good to about")
    phone.page.fill("#sign_code", "yield")
    phone.page.click("text=R1-2 Yield")
    phone.page.click("label.chip >> text=west >> nth=-1")
    phone.page.fill("#width_in", "36")
    phone.page.select_option("#color_background", "red")
    phone.page.select_option("#road_id", label="Mill Road")
    phone.page.fill("#label", "001-0JM")
    phone.page.click("[data-save]")
    phone.page.wait_for_selector("[data-refusal] >> text=last character does not fit")
    phone.page.fill("#label", "")
    phone.save()
    phone.page.wait_for_selector("h1 >> text=R1-2 Yield")
    phone.page.click("text=Note")
    phone.wait_for_heading("Write a note")
    phone.page.fill("#note", "behind the barn")
    phone.save()
    phone.send()
    added = Sign.objects.exclude(pk=sign.pk).get()
    assert (added.sign_code, added.width_in, added.height_in) == ("R1-2", 36, None)
    support = added.position.support
    assert (support.latitude_deg, support.road.name) == (43.001, "Mill Road")
    assert added.inspections.get().note == "behind the barn"
    assert list(added.colour_areas.values_list("part", "color")) == [("background", "red")]


def test_a_new_face_goes_up_by_its_typed_label(agency, sign, new_phone):
    face = face_for(sign, agency)
    hand_out_package(agency, [sign.position])
    phone = new_phone(agency)
    phone.go_offline()
    phone.show(f"#/install/{sign.position_id}")
    phone.page.fill("#label", face.label_id.lower().replace("-", " "))
    phone.page.wait_for_selector("text=It fits, and was printed for this place.")
    phone.page.click("[data-save]")
    phone.page.wait_for_selector("[data-refusal] >> text=Say why the old face comes down")
    phone.page.click("text=colour faded")
    phone.save()
    phone.page.wait_for_selector(f"text=label {face.label_id}")
    phone.send()
    face.refresh_from_db()
    sign.refresh_from_db()
    assert (face.state, face.position) == ("installed", sign.position)
    assert (sign.state, sign.removal_reason) == ("removed", "faded")


def spare_face(agency, serial, **fields):
    return Sign.objects.create(
        owner=agency,
        state=Sign.State.IN_STOCK,
        label_id=make_label(serial),
        **{"sign_code": "R1-1", "width_in": 30, "height_in": 30} | fields,
    )


def test_a_face_that_does_not_fit_is_said_so_on_the_phone(agency, sign, new_phone):
    wide = spare_face(agency, 501, width_in=36, height_in=36)
    hand_out_package(agency, [sign.position])
    phone = new_phone(agency)
    phone.go_offline()
    phone.show(f"#/install/{sign.position_id}")
    phone.page.fill("#label", wide.label_id)
    phone.page.wait_for_selector("text=36 × 36 in, but this place asks for 30 × 30 in")
    phone.page.click("text=colour faded")
    phone.page.click("[data-save]")
    phone.page.wait_for_selector("[data-refusal] >> text=The server will refuse it")
    phone.save()
    phone.send()
    # As the phone said; services/installation.py refuses it in the same terms.
    refused = DeviceOperation.objects.get()
    assert refused.state == "refused"
    assert "36 × 36 in, but this position asks for 30 × 30 in" in refused.sentence
    assert "36 × 36 in" in phone.main()


def put_up(phone, sign, label):
    phone.show(f"#/install/{sign.position_id}")
    phone.page.fill("#label", label)
    phone.page.click("text=colour faded")
    phone.save()


def test_two_crews_faces_for_one_place_are_both_kept_for_an_engineer(
    phone, agency, sign, new_phone
):
    first, second = spare_face(agency, 601), spare_face(agency, 602)
    other = new_phone(agency)
    for each, face in ((phone, first), (other, second)):
        each.go_offline()
        put_up(each, sign, face.label_id)
        each.send()
    assert "With your engineer" not in phone.main()
    assert "With your engineer" in other.main()
    other.page.click("text=New face put up")
    other.wait_for_heading("New face put up")
    assert "An engineer decides which face stands" in other.main()
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, second.state) == ("installed", "in_stock")
    held = DeviceOperation.objects.get(state="held", code="conflict")
    settle_operation(
        operation=held,
        decision="apply",
        reason="seen on the post",
        by=make_person(agency),
        content=None,
    )
    other.show("#/outbox")
    other.page.click("text=Ask for news")
    expect(other.page.locator("[data-counts]")).to_contain_text("is on the server")
    second.refresh_from_db()
    assert second.state == "installed"


def test_a_refused_record_is_put_right_and_sent_again(phone, sign):
    phone.go_offline()
    phone.show(f"#/remove/{sign.pk}")
    phone.page.click("text=no longer needed")
    phone.page.fill("#note", "post pulled")
    phone.page.fill("#removed_on", "2014-05-01")
    phone.save()
    phone.send()
    assert "Refused: put these right" in phone.main()
    phone.page.click("text=Face taken down")
    phone.wait_for_heading("Face taken down")
    # The face went up on 1 May 2015, a year after it is said to have come down.
    assert "2015-05-01" in phone.page.inner_text("[data-why]")
    phone.page.click("text=Edit and send again")
    phone.wait_for_heading("Take this face down")
    assert phone.page.input_value("#note") == "post pulled"
    assert phone.page.is_checked("input[value=not_needed]")
    phone.page.fill("#removed_on", "2026-06-01")
    phone.save()
    phone.send()
    sign.refresh_from_db()
    assert sign.state == "removed"
    first, second = DeviceOperation.objects.order_by("sequence")
    assert (first.state, second.state) == ("refused", "applied")
    assert second.replaces_uuid == first.client_uuid
    assert "Refused" not in phone.main()


def test_a_refused_record_is_discarded_with_a_reason(phone, sign):
    phone.go_offline()
    phone.show(f"#/remove/{sign.pk}")
    phone.page.click("text=no longer needed")
    phone.page.fill("#removed_on", "2014-05-01")
    phone.save()
    phone.send()
    phone.page.click("text=Face taken down")
    phone.page.click("text=Discard it instead")
    phone.page.click("text=Discard this record")
    phone.page.wait_for_selector("text=Write why it is discarded")
    phone.page.fill("#reason", "wrong sign")
    phone.page.click("text=Discard this record")
    phone.wait_for_heading("To send")
    phone.send()
    first = DeviceOperation.objects.get(kind="remove")
    assert (first.state, first.settled_reason) == ("discarded", "wrong sign")
    sign.refresh_from_db()
    assert sign.state == "installed"


def test_what_waits_for_a_refused_record_is_released_when_that_is_put_right(
    phone, agency, sign
):
    face = spare_face(agency, 701)
    phone.go_offline()
    put_up(phone, sign, make_label(702))  # a label no face has
    phone.page.click("text=Note")
    phone.wait_for_heading("Write a note")
    phone.page.fill("#note", "hangs straight")
    phone.save()
    phone.send()
    phone.page.wait_for_selector("text=waits for another record")
    assert "Refused: put these right" in phone.main()
    assert not Inspection.objects.exists()
    phone.page.click("text=New face put up")
    phone.page.click("text=Edit and send again")
    phone.wait_for_heading("Put up a new face")
    phone.page.fill("#label", face.label_id)
    phone.save()
    phone.send()
    assert Inspection.objects.get().sign == face
    assert set(DeviceOperation.objects.values_list("state", flat=True)) == {
        "refused",
        "applied",
    }


def test_what_waits_leaves_the_phone_as_a_file_and_is_applied_once(
    phone, sign, picture, tmp_path
):
    phone.go_offline()
    phone.show(f"#/note/{sign.pk}")
    phone.page.fill("#note", "no signal all day")
    phone.page.set_input_files("#photo", picture)
    phone.page.wait_for_selector("img.photo")
    phone.save()
    phone.show("#/outbox")
    with phone.page.expect_download() as given:
        phone.page.click("text=Save as a file")
    file = tmp_path / "outbox.json"
    given.value.save_as(file)
    call_command("import_outbox", str(file))
    assert Inspection.objects.get().note == "no signal all day"
    assert Photo.objects.get().sign == sign
    phone.send()
    assert Inspection.objects.count() == Photo.objects.count() == 1


def test_what_is_typed_survives_leaving_the_screen(phone, sign):
    phone.show(f"#/wrong-data/{sign.pk}")
    phone.page.click("text=which way it faces")
    phone.page.fill("#said", "it looks west")
    phone.page.reload()
    phone.wait_for_heading("Something on record is wrong")
    assert phone.page.input_value("#said") == "it looks west"
    assert phone.page.is_checked("input[value=facing]")
    phone.save()
    phone.show(f"#/wrong-data/{sign.pk}")
    phone.wait_for_heading("Something on record is wrong")
    assert phone.page.input_value("#said") == ""


SMALL_TARGETS = """() => [...document.querySelectorAll(
    "main a, main button, main select, main textarea, main summary, main label.chip, "
    + "main label.check, main input:not([type=radio], [type=checkbox], [type=file])"
  )].filter((each) => each.checkVisibility())
    .map((each) => [each.outerHTML.slice(0, 80), each.getBoundingClientRect().height])
    .filter(([, height]) => height < 48)"""
NAMELESS = """() => [...document.querySelectorAll("main input, main select, main textarea")]
  .filter((each) => !each.labels?.length && !each.getAttribute("aria-label"))
  .map((each) => each.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize("theme", ["day", "night"])
def test_every_action_fits_the_phone_the_glove_the_hour_and_large_letters(phone, sign, theme):
    phone.page.evaluate(
        "(theme) => localStorage.setItem('signfleet-field-theme', theme)", theme
    )
    phone.page.reload()
    stop, support = sign.position.package_stops.get(), sign.position.support
    screens = [
        *(
            f"#/{name}/{sign.pk}"
            for name in ("damage", "night", "note", "wrong-data", "remove")
        ),
        f"#/install/{sign.position_id}",
        "#/install",
        f"#/move/{support.pk}",
        f"#/add-sign/{support.pk}",
        "#/check",
        f"#/stop/{stop.pk}",
        "#/outbox",
        "#/settings",
    ]
    for address in screens:
        before = phone.page.inner_text("h1")
        phone.show(address)
        expect(phone.page.locator("h1")).not_to_have_text(before)
        assert overflow_px(phone.page) == 0, address
        assert phone.page.evaluate(SMALL_TARGETS) == [], address
        assert phone.page.evaluate(NAMELESS) == [], address
        if theme == "night":
            assert phone.page.evaluate(GLARING_COLOURS) == [], address
        # WCAG 2.2, 1.4.4: text at 200 %.
        phone.page.evaluate("document.documentElement.style.fontSize = '36px'")
        assert overflow_px(phone.page) == 0, f"{address} at 200 %"
        phone.page.evaluate("document.documentElement.style.fontSize = ''")

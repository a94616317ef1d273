"""Photos of a form outlive leaving it; a fifth one is refused and replaces none."""

import pytest
from PIL import Image
from playwright.sync_api import expect

from inventory.models import Photo
from tests.browser.acting import overflow_px
from tests.browser.field_acting import CrewPhone, hand_out_package
from tests.factories import make_agency, make_position, make_sign, make_support

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHOWN = ".taken-photos img"
# The colour in the middle of each photo shown.
COLOURS = """async () => Promise.all([...document.querySelectorAll(".taken-photos img")].map(
  async (image) => {
    await image.decode();
    const canvas = document.createElement("canvas");
    const context = canvas.getContext("2d");
    context.drawImage(image, 0, 0, 1, 1);
    return [...context.getImageData(0, 0, 1, 1).data].slice(0, 3).map((each) => each > 127);
  }))"""
RED, GREEN, BLUE, WHITE, BLACK = (
    [True, False, False],
    [False, True, False],
    [False, False, True],
    [True, True, True],
    [False, False, False],
)


@pytest.fixture
def sign():
    agency = make_agency("Alder County")
    support = make_support(agency, latitude_deg=43.0, longitude_deg=-89.5, accuracy_m=1.0)
    return make_sign(agency, position=make_position(agency, support=support))


@pytest.fixture
def phone(browser, live_server, sign):
    hand_out_package(sign.owner, [sign.position])
    phone = CrewPhone(browser, live_server.url)
    phone.prepare(sign.owner)
    yield phone
    phone.close()


@pytest.fixture
def take(phone, tmp_path):
    """Take a photo of one colour on the form shown."""

    def taken(colour):
        path = tmp_path / f"{colour}.png"
        Image.new("RGB", (60, 40), colour).save(path)
        phone.page.set_input_files("#photo", path)

    return taken


def shown(phone, count):
    expect(phone.page.locator(SHOWN)).to_have_count(count)
    return phone.page.evaluate(COLOURS)


def open_note(phone, sign):
    phone.show(f"#/note/{sign.pk}")
    phone.wait_for_heading("Write a note")


def test_photos_of_a_form_that_is_left_are_there_again_until_saved_or_taken_out(
    phone, sign, take
):
    phone.go_offline()
    open_note(phone, sign)
    for count, colour in enumerate(("red", "lime", "blue"), start=1):
        take(colour)
        shown(phone, count)
    phone.show("#/near")
    phone.page.reload()  # as if the battery went
    phone.show("#/outbox")
    expect(phone.page.locator("main")).to_contain_text("Photos not saved yet")
    assert overflow_px(phone.page) == 0
    phone.page.click("text=3 photos")
    phone.wait_for_heading("Write a note")
    assert shown(phone, 3) == [RED, GREEN, BLUE]
    assert "not saved yet" in phone.main()
    phone.page.click("[aria-label='Leave photo 2 out']")
    shown(phone, 2)
    phone.page.reload()
    phone.wait_for_heading("Write a note")
    assert shown(phone, 2) == [RED, BLUE]
    phone.save()
    phone.page.click("text=Undo")
    phone.wait_for_heading("Write a note")
    assert shown(phone, 2) == [RED, BLUE]
    # Left out of what was recorded: it stays out when the form is left again.
    phone.page.click("[aria-label='Leave photo 1 out']")
    take("white")
    shown(phone, 2)
    phone.page.reload()
    phone.wait_for_heading("Write a note")
    assert shown(phone, 2) == [BLUE, WHITE]
    phone.save()
    open_note(phone, sign)
    assert shown(phone, 0) == []
    phone.send()
    assert "Photos not saved yet" not in phone.main()
    expect(phone.page.locator("[data-counts]")).not_to_contain_text("photo")
    assert Photo.objects.filter(sign=sign).count() == 2


def test_a_fifth_photo_is_refused_and_the_four_stay(phone, sign, take):
    phone.go_offline()
    open_note(phone, sign)
    for count, colour in enumerate(("red", "lime", "blue", "white"), start=1):
        take(colour)
        shown(phone, count)
    # The camera does not even open.
    phone.page.click(".photo-field label.button")
    expect(phone.page.locator(".photo-field [role=status]")).to_contain_text(
        "Four photos are the most one record takes here."
    )
    take("black")  # a camera that gives one all the same
    expect(phone.page.locator(".photo-field [role=status]")).to_contain_text(
        "That photo was not taken in."
    )
    assert shown(phone, 4) == [RED, GREEN, BLUE, WHITE]
    phone.page.click("[aria-label='Leave photo 1 out']")
    shown(phone, 3)
    take("black")
    assert shown(phone, 4) == [GREEN, BLUE, WHITE, BLACK]
    phone.save()
    phone.send()
    expect(phone.page.locator("[data-counts]")).not_to_contain_text("photo")
    assert Photo.objects.filter(sign=sign).count() == 4

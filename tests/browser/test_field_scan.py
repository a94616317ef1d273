"""A label's code before the camera: printed, held a hand's breadth away, read on the phone."""

import os
import random

import pytest
import segno
from PIL import Image, ImageFilter
from playwright.sync_api import expect

from inventory.engineering.production.labels import make_label
from inventory.models import Sign
from tests.browser.field_acting import CrewPhone, hand_out_package
from tests.factories import (
    make_agency,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    print_order,
)
from tests.left_out import NO_CHROMIUM, find_chromium

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FRAME_PX = (640, 480)
FRAMES = 10
SITE = "https://signs.alder.example/"  # as SITE_ADDRESS of a deployment
# A code 18 mm wide, 100 mm before a camera whose picture is 60° wide: 115 mm across 640 pixels.
CODE_MM, PICTURE_WIDTH_MM = 18.0, 115.0
TILT_DEG = 7
LABEL = make_label(1042)


def label_frame(text, chance):
    """Return what the camera sees of a label with a code, a little askew and out of focus."""
    code = segno.make(text, error="m")
    matrix = [[0 if module else 255 for module in row] for row in code.matrix]
    side = len(matrix)
    drawn = Image.new("L", (side, side))
    drawn.putdata([module for row in matrix for module in row])
    size_px = round(CODE_MM / PICTURE_WIDTH_MM * FRAME_PX[0])
    large = drawn.resize((side * 12, side * 12), Image.Resampling.NEAREST)
    paper = Image.new("L", (size_px * 2, size_px * 2), 228)
    paper.paste(large.resize((size_px, size_px), Image.Resampling.LANCZOS), (size_px // 2,) * 2)
    turned = paper.rotate(TILT_DEG, Image.Resampling.BICUBIC, fillcolor=96)
    frame = Image.new("L", FRAME_PX, 96)
    shake = [chance.randrange(-3, 4) for _ in range(2)]
    frame.paste(turned, (260 + shake[0], 140 + shake[1]))
    blurred = frame.filter(ImageFilter.GaussianBlur(0.6))
    noise = Image.effect_noise(FRAME_PX, 12)
    return Image.blend(blurred, noise, 0.08)


def write_film(path, text):
    """Write a few frames as an uncompressed film, 4:2:0."""
    chance = random.Random(1042)  # noqa: S311 - a shaking hand, not a secret
    grey = bytes([128]) * (FRAME_PX[0] * FRAME_PX[1] // 4)
    with path.open("wb") as film:
        film.write(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n")
        for _ in range(FRAMES):
            film.write(b"FRAME\n" + label_frame(text, chance).tobytes() + grey + grey)


@pytest.fixture
def camera(browser, tmp_path):
    """Browsers whose camera looks at a film of one code."""
    path = find_chromium()
    if path is None:
        pytest.skip(NO_CHROMIUM)
    started = []

    def make(text):
        film = tmp_path / "label.y4m"
        write_film(film, text)
        switches = ["--no-sandbox"] if os.geteuid() == 0 else []
        chromium = browser.browser_type.launch(
            executable_path=path,
            args=[
                *switches,
                "--use-fake-device-for-media-stream",
                f"--use-file-for-fake-video-capture={film}",
            ],
        )
        started.append(chromium)
        return chromium

    yield make
    for chromium in started:
        chromium.close()


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def sign(agency):
    return make_sign(agency, label_id=LABEL)


def phone_with(camera, live_server, agency, sign, text, *, may_use_camera=True):
    hand_out_package(agency, [sign.position])
    phone = CrewPhone(camera(text), live_server.url)
    if may_use_camera:
        phone.context.grant_permissions(["geolocation", "camera"])
    phone.prepare(agency)
    phone.go_offline()
    phone.show("#/scan")
    return phone


@pytest.mark.parametrize("text", [SITE + LABEL, LABEL], ids=["address and id", "bare id"])
def test_a_label_is_scanned_without_signal(camera, live_server, agency, sign, text):
    phone = phone_with(camera, live_server, agency, sign, text)
    phone.wait_for_heading("R1-1 Stop")
    assert f"#/sign/{sign.pk}?by=label" in phone.page.url
    assert "By the label on its back" in phone.main()
    # The camera is let go of as soon as the sign is found.
    assert phone.page.locator("video").count() == 0
    phone.close()


def test_a_code_that_is_no_label_is_said_to_be_none(camera, live_server, agency, sign):
    phone = phone_with(camera, live_server, agency, sign, "https://menu.example/soup")
    said = phone.page.locator("[data-scanned]")
    expect(said).to_contain_text("leads to menu.example and holds no label id")
    phone.close()


def test_a_label_of_a_sign_that_is_not_carried_is_named(camera, live_server, agency, sign):
    phone = phone_with(camera, live_server, agency, sign, SITE + make_label(77))
    said = phone.page.locator("[data-scanned]")
    expect(said).to_contain_text(f"Label {make_label(77)}")
    expect(said).to_contain_text("carries no sign with this label")
    phone.close()


def test_a_face_in_stock_is_led_to_the_place_where_it_goes_up(
    camera, live_server, agency, sign
):
    shop = make_shop("Tern Signs", agency)
    order = make_released_order(agency, shop, [sign])
    print_order(order, make_press(shop, make_roll(shop)))
    face = Sign.objects.get(layout_face__line__order=order)
    phone = phone_with(camera, live_server, agency, sign, SITE + (face.label_id or ""))
    said = phone.page.locator("[data-scanned]")
    expect(said).to_contain_text(f"label {face.label_id}")
    expect(said).to_contain_text("not on a post yet")
    phone.page.click("text=Where does it go up?")
    phone.page.wait_for_url("**#/install?face=**")
    phone.close()


def test_without_a_camera_the_id_is_typed(camera, live_server, agency, sign):
    phone = phone_with(camera, live_server, agency, sign, LABEL, may_use_camera=False)
    phone.page.wait_for_selector("text=did not let this app use its camera")
    phone.page.click("text=Type the id instead")
    phone.page.fill("#find-text", LABEL)
    phone.page.click("a.sign-line")
    phone.wait_for_heading("R1-1 Stop")
    phone.close()

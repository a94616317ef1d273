"""The take-along over the API: who may ask, packed answers, and what a question lacks."""

from __future__ import annotations

import gzip
import json
from io import BytesIO

import pytest
from PIL import Image

from inventory.models import Role, Sign
from inventory.services.photos import store_photo
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    print_order,
)
from tests.services.field.test_area import make_package
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db

SIGNS = "/api/v1/field/signs"
BOX = {"south_deg": 42.9, "west_deg": -89.6, "north_deg": 43.1, "east_deg": -89.4}
ADDRESSES = ("/api/v1/field/basics", SIGNS, "/api/v1/field/stock")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


def picture(width=800, height=600):
    out = BytesIO()
    Image.new("RGB", (width, height), "red").save(out, "JPEG")
    return out.getvalue()


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_shop_takes_nothing_along(client, agency, address):
    act_as(client, make_shop(agency=agency), Role.SHOP)
    assert client.get(address, BOX).status_code == 403


@pytest.mark.parametrize("address", ADDRESSES)
def test_nobody_takes_anything_along_without_signing_in(client, address):
    assert client.get(address, BOX).status_code == 403


@pytest.mark.parametrize("address", ADDRESSES)
def test_answers_come_packed_where_the_phone_can_unpack_them(client, agency, address):
    for _ in range(5):
        make_sign(agency)
    act_as(client, agency, Role.CREW)
    plain = client.get(address, BOX)
    packed = client.get(address, BOX, headers={"Accept-Encoding": "gzip"})
    if len(plain.content) > 200:  # below that packing is not worth it
        assert packed["Content-Encoding"] == "gzip"
        assert set(json.loads(gzip.decompress(packed.content))) == set(plain.json())


def test_a_crew_takes_its_package_along(client, agency):
    sign = make_sign(agency)
    package = make_package(agency, [sign.position])
    act_as(client, agency, Role.CREW)
    answer = client.get(SIGNS, {"package": package.pk}).json()
    assert [each["id"] for each in answer["signs"]] == [sign.pk]
    assert [each["package_id"] for each in answer["stops"]] == [package.pk]


def test_the_package_of_another_agency_is_not_there(client, agency):
    other = make_agency()
    package = make_package(other, [make_position(other)])
    act_as(client, agency, Role.CREW)
    assert client.get(SIGNS, {"package": package.pk}).status_code == 404


@pytest.mark.parametrize(
    ("asked", "word"),
    [
        ({}, "either package, or all of"),
        ({"package": 1, **BOX}, "either package, or all of"),
        ({"south_deg": 42.9}, "either package, or all of"),
        ({**BOX, "south_deg": 95}, "less than or equal to 90"),
        ({**BOX, "south_deg": "north"}, "valid number"),
        ({**BOX, "page": 0}, "greater than or equal to 1"),
        ({**BOX, "page": 2}, "There is no page 2"),
        ({**BOX, "south_deg": 43.2}, "turned over"),
        ({**BOX, "south_deg": "nan"}, "number"),
    ],
)
def test_a_question_that_cannot_be_answered_is_answered_in_a_sentence(
    client, agency, asked, word
):
    act_as(client, agency, Role.CREW)
    answer = client.get(SIGNS, asked)
    assert answer.status_code == 400
    assert word in json.dumps(answer.json(), ensure_ascii=False)


def test_a_picture_comes_small_and_only_to_its_agency(client, agency):
    photo = store_photo(sign=make_sign(agency), content=picture(), now=NOW)
    act_as(client, agency, Role.CREW)
    answer = client.get(f"/api/v1/field/photos/{photo.pk}/small")
    assert answer["Content-Type"] == "image/jpeg"
    assert Image.open(BytesIO(answer.content)).size == (320, 240)
    act_as(client, make_agency(), Role.CREW)
    assert client.get(f"/api/v1/field/photos/{photo.pk}/small").status_code == 404


def test_the_two_newest_pictures_of_a_sign_are_named(client, agency):
    sign = make_sign(agency)
    photos = [store_photo(sign=sign, content=picture(width), now=NOW) for width in (8, 9, 10)]
    act_as(client, agency, Role.CREW)
    (told,) = client.get(SIGNS, BOX).json()["signs"]
    assert told["photo_ids"] == [photos[2].pk, photos[1].pk]


def test_faces_in_stock_come_with_the_place_they_were_ordered_for(client, agency):
    shop = make_shop(agency=agency)
    old = make_sign(agency)
    order = make_released_order(agency, shop, [old])
    print_order(order, make_press(shop, make_roll(shop)))
    act_as(client, agency, Role.CREW)
    answer = client.get("/api/v1/field/stock").json()
    (face,) = answer["faces"]
    assert face["for_position_id"] == old.position_id
    assert face["label_id"]
    # It is judged as it will be once it is up: by the mount of its place.
    assert not answer["plans"][face["plan"]]["not_known"]
    assert face["colours"] == ["white", "red"]


def test_the_stock_of_another_agency_is_not_listed(client, agency):
    Sign.objects.create(owner=make_agency(), state=Sign.State.IN_STOCK, sign_code="R1-1")
    act_as(client, agency, Role.CREW)
    assert client.get("/api/v1/field/stock").json()["faces"] == []


def test_a_fuller_stock_takes_no_more_queries(client, agency, django_assert_max_num_queries):
    for _ in range(3):
        Sign.objects.create(owner=agency, state=Sign.State.IN_STOCK, sign_code="R1-1")
    act_as(client, agency, Role.CREW)
    with django_assert_max_num_queries(14) as few:
        client.get("/api/v1/field/stock")
    for _ in range(5):
        Sign.objects.create(owner=agency, state=Sign.State.IN_STOCK, sign_code="W1-1")
    with django_assert_max_num_queries(len(few)):
        assert len(client.get("/api/v1/field/stock").json()["faces"]) == 8

"""Labels on the pages: sheets kept, labels made and made again, and where one leads."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.models import FaceLabel, LabelBatch, LabelSheet, Role, Sign
from inventory.services.installation import install_sign
from inventory.services.production.face_labels import words_of
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    position_of,
    print_order,
)

pytestmark = pytest.mark.django_db

TEN = {
    "name": "Ten a page",
    "page_width_in": "8.5",
    "page_height_in": "11",
    "columns": "2",
    "rows": "5",
    "label_width_in": "4",
    "label_height_in": "2",
    "left_in": "0.2",
    "top_in": "0.5",
    "gap_across_in": "0.1",
    "gap_down_in": "0",
}


class World:
    def __init__(self):
        self.agency = make_agency()
        self.shop = make_shop(agency=self.agency)
        self.roll = make_roll(self.shop, lot="L-77")
        press = make_press(self.shop, self.roll)
        self.old = [make_sign(self.agency) for _ in range(3)]
        self.order = make_released_order(self.agency, self.shop, self.old)
        self.run = print_order(self.order, press)
        self.faces = list(self.run.signs.order_by("print_number"))


@pytest.fixture
def world(db):
    return World()


@pytest.fixture
def as_shop(client, world):
    client.force_login(make_person(world.shop, Role.SHOP))
    return client


def test_labels_of_a_run_are_made_and_made_again(as_shop, world):
    assert (
        "No label sheet is kept yet"
        in as_shop.get(reverse("run-labels", args=[world.run.pk])).content.decode()
    )
    assert as_shop.post(reverse("label-sheet-add"), TEN).status_code == 302
    sheet = LabelSheet.objects.get()
    address = reverse("run-labels", args=[world.run.pk])
    page = as_shop.get(address).content.decode()
    assert page.count("checked") == 3
    faces = [face.pk for face in world.faces[:2]]
    answer = as_shop.post(address, {"sheet": sheet.pk, "first_place": "4", "faces": faces})
    batch = LabelBatch.objects.get()
    assert answer.url == reverse("label-batch", args=[batch.pk])
    assert "L-77" in as_shop.get(answer.url).content.decode()
    file = b"".join(as_shop.get(reverse("label-batch-pdf", args=[batch.pk])))
    assert file.startswith(b"%PDF")
    # The face without a label is ticked next time; one with a label may have another.
    page = as_shop.get(address).content.decode()
    assert page.count("checked") == 1
    as_shop.post(address, {"sheet": sheet.pk, "first_place": "1", "faces": faces[:1]})
    assert FaceLabel.objects.filter(sign=faces[0]).count() == 2
    assert as_shop.get(reverse("label-list")).content.decode().count("Ten a page") == 3


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"columns": "3"}, "need 12.4 in across, and the page has 8.5 in"),
        ({"rows": "6"}, "need 12.5 in down, and the page has 11 in"),
        ({"label_height_in": "0.5"}, "Take a larger label."),
        ({"name": ""}, "Give the sheet a name."),
        ({"rows": "0"}, "holds none"),
        ({"gap_down_in": "wide"}, "&#x27;wide&#x27; is not a number"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(as_shop, world, changed, sentence):
    answer = as_shop.post(reverse("label-sheet-add"), TEN | changed)
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert not LabelSheet.objects.exists()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"first_place": "11"}, "the first free one is 1 to 10"),
        ({"faces": []}, "pick 1 to 500 faces"),
        ({"sheet": ""}, "Say on which sheet."),
    ],
)
def test_labels_that_cannot_be_are_refused(as_shop, world, changed, sentence):
    as_shop.post(reverse("label-sheet-add"), TEN)
    typed = {
        "sheet": LabelSheet.objects.get().pk,
        "first_place": "1",
        "faces": [face.pk for face in world.faces],
    }
    answer = as_shop.post(reverse("run-labels", args=[world.run.pk]), typed | changed)
    assert answer.status_code in (400, 409)
    assert sentence in answer.content.decode()
    assert not LabelBatch.objects.exists()


def test_a_label_says_what_the_press_log_says_and_what_is_not_known(
    world, django_assert_max_num_queries
):
    with django_assert_max_num_queries(5) as asked:
        (one,) = words_of(world.faces[:1])
    with django_assert_max_num_queries(len(asked)):
        every = words_of(world.faces)
    assert [each.label_id for each in every] == [face.label_id for face in world.faces]
    face = world.faces[0]
    assert one.address.endswith(f"/l/{face.label_id}")
    assert one.sheeting == "white Type XI prismatic, lot L-77"
    assert one.overlay == "not known"  # nobody wrote down whether there was any
    assert one.order == world.order.number
    assert one.made.startswith(f"{face.fabricated_on:%m/%Y} ")
    bought = make_sign(world.agency, label_id="001-0JK")
    (told,) = words_of([Sign.objects.get(pk=bought.pk)])
    assert (told.sheeting, told.order) == ("not known", "not known")


def test_a_label_leads_each_to_their_own_page(client, world):
    face = world.faces[0]
    address = reverse("label-found", args=[face.label_id])
    client.force_login(make_person(world.shop, Role.SHOP))
    assert client.get(address).url == reverse("run-page", args=[world.run.pk])
    typed = face.label_id.lower().replace("-", "")
    assert client.get(reverse("label-found", args=[typed])).status_code == 302
    assert client.get(reverse("label-found", args=["001-0JX"])).status_code == 404
    client.force_login(make_person(world.agency, Role.CREW))
    assert client.get(address).status_code == 404  # the shop's still
    install_sign(
        sign=face,
        position=position_of(world.old[0]),
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    assert client.get(address).url == reverse("crew-sign", args=[face.pk])
    client.force_login(make_person(make_agency(), Role.CREW))
    assert client.get(address).status_code == 404

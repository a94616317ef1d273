"""The pages of warranty: a claim from the list to the credit, by both of its parties."""

from __future__ import annotations

import csv
import io

import pytest
from django.urls import reverse

from inventory.models import Role, WarrantyClaim, WarrantyTerm
from tests.factories import make_agency, make_released_order
from tests.services.test_warranty import LOW
from tests.services.warranty_world import make_face, make_road, make_term, read
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(monkeypatch):
    from tests.factories import NOW

    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


@pytest.fixture
def road(db):
    road = make_road()
    make_term(road, must_be_upright=True)
    return road


def faces_of(road, number=2):
    faces = [make_face(road) for _ in range(number)]
    for face in faces:
        read(road, face, LOW)
    return faces


def text_of(answer):
    return " ".join(answer.content.decode().split())


def as_engineer(client, road):
    act_as(client, road.agency, Role.ENGINEER)


def as_shop(client, road):
    act_as(client, road.shop, Role.SHOP)


def draft(client, road, faces):
    as_engineer(client, road)
    address = reverse("warranty-lot", args=[road.shop.pk]) + f"?lot={road.lot}"
    ticked = [f"{face.pk}:white" for face in faces]
    answer = client.post(address, {"faces": ticked, "note": "both at the ferry"})
    assert answer.status_code == 302, text_of(answer)
    return WarrantyClaim.objects.get(agency=road.agency)


def do(client, claim, doing, **data):
    return client.post(reverse("claim-do", args=[claim.pk, doing]), data)


def test_the_list_shows_lots_and_a_lot_its_faces(client, road):
    faces = faces_of(road)
    as_engineer(client, road)
    listed = text_of(client.get(reverse("warranty")))
    assert "<strong>2</strong> faces of 1 lot read less" in listed
    lot = client.get(reverse("warranty-lot", args=[road.shop.pk]) + f"?lot={road.lot}")
    words = text_of(lot)
    assert "304" in words
    assert "stands upright" in words
    assert all(f'value="{face.pk}:white"' in words for face in faces)


def test_a_signs_page_says_what_it_falls_short_of_and_its_claim(client, road):
    (face,) = faces_of(road, 1)
    as_engineer(client, road)
    address = reverse("sign-page", args=[face.pk])
    page = text_of(client.get(address))
    assert "300, promised 304 cd/lx/m²" in page
    assert "80 % of 380 until year 7" in page
    claim = draft(client, road, [face])
    page = text_of(client.get(address))
    assert f"Claim {claim.number}</a> for its white: draft" in page


def test_a_shop_is_not_sent_to_pages_it_may_not_open(client, road):
    claim = draft(client, road, faces_of(road, 1))
    do(client, claim, "send", answer_due_on="2026-09-01")
    as_shop(client, road)
    page = client.get(reverse("claim-page", args=[claim.pk])).content.decode()
    assert "/signs/" not in page


def test_without_a_term_the_list_says_what_is_missing(client):
    act_as(client, make_agency(), Role.ENGINEER)
    assert "entered what its supplier promises" in text_of(client.get(reverse("warranty")))


def test_a_claim_is_driven_by_both_parties_to_its_credit(client, road):
    faces = faces_of(road)
    claim = draft(client, road, faces)
    page = text_of(client.get(reverse("claim-page", args=[claim.pk])))
    assert "both at the ferry" in page
    assert "Send to the shop" in page
    assert "Answer</a>" not in page
    as_shop(client, road)
    assert client.get(reverse("claim-page", args=[claim.pk])).status_code == 404
    as_engineer(client, road)
    refused = do(client, claim, "send", answer_due_on="2020-01-01")
    assert refused.status_code in (400, 409)
    assert "An answer by 2020-01-01" in text_of(refused)
    assert do(client, claim, "send", answer_due_on="2026-09-01").status_code == 302
    stated = {"condition": "upright", "is_met": "yes", "words": "checked with a level"}
    assert do(client, claim, "state", **stated).status_code == 302
    as_shop(client, road)
    assert do(client, claim, "pass-on", words="no. 4711").status_code == 302
    first, second = claim.faces.order_by("pk")
    half = {f"answer_{first.pk}": "accepted"}
    incomplete = do(client, claim, "answer", **half)
    assert "answer for each of them" in text_of(incomplete)
    assert 'value="accepted" selected' in text_of(incomplete)  # nothing picked is lost
    whole = half | {f"answer_{second.pk}": "refused", f"why_{second.pk}": "shot at"}
    assert do(client, claim, "answer", **whole).status_code == 302
    order = make_released_order(road.agency, road.shop, faces)
    line = order.lines.order_by("number")[0]
    credit = {"line": line.pk, "face_count": "1", "words": "a new face"}
    assert do(client, claim, "credit", **credit).status_code == 302
    page = text_of(client.get(reverse("claim-page", args=[claim.pk])))
    assert "1 face accepted, 1 credited" in page
    assert "shot at" in page
    assert f"order {order.number}, line 1" in page
    as_engineer(client, road)
    listed = text_of(client.get(reverse("warranty")))
    assert "<strong>1</strong> face of 1 lot reads less" in listed  # the refused one
    assert "1 face of line 1: a new face" in text_of(
        client.get(reverse("order-page", args=[order.pk]))
    )


def test_the_files_are_for_both_parties(client, road):
    claim = draft(client, road, faces_of(road))
    answer = client.get(reverse("claim-file", args=[claim.pk, "csv"]))
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode())))
    assert [row["color"] for row in rows] == ["white", "white"]
    answer = client.get(reverse("claim-file", args=[claim.pk, "pdf"]))
    assert b"".join(answer.streaming_content).startswith(b"%PDF")


def test_a_party_does_only_its_own_part(client, road):
    claim = draft(client, road, faces_of(road, 1))
    assert do(client, claim, "answer").status_code == 404
    assert do(client, claim, "send", answer_due_on="2026-09-01").status_code == 302
    as_shop(client, road)
    assert do(client, claim, "withdraw", words="no").status_code == 404


TYPED = {
    "name": "Type XI sheeting",
    "made_from_on": "2020-01-01",
    "sheeting_type": "XI",
    "colouring": "sheeting",
    "overlay": "any",
    "starts": "fabricated",
    "initials": "white 380\nFluorescent yellow-green: 300",
    "initial_basis": "table 1",
    "steps": "7, 80 %, a new face put up\n10; 70% the sheeting",
    "supplier_text": "80 % for 7 years, 70 % for 10.",
}


def test_a_shop_enters_a_term_and_another_version_of_it(client, road):
    as_shop(client, road)
    answer = client.post(reverse("warranty-term-add"), TYPED)
    assert answer.status_code == 302, text_of(answer)
    term = WarrantyTerm.objects.get(name="Type XI sheeting")
    assert [str(each) for each in term.steps.all()] == [
        "80 % until year 7",
        "70 % until year 10",
    ]
    assert list(term.initials.values_list("color", flat=True)) == [
        "white",
        "fluorescent-yellow-green",
    ]
    again = client.get(reverse("warranty-term-add") + f"?from={term.pk}")
    assert "7, 80 %, a new face put up" in again.content.decode()
    assert client.post(reverse("warranty-term-add"), TYPED).status_code == 302
    assert WarrantyTerm.objects.filter(name="Type XI sheeting").count() == 2
    as_engineer(client, road)
    assert "80 % for 7 years" in text_of(client.get(reverse("warranty-term", args=[term.pk])))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"initials": "white"}, "“white” is no colour with its value"),
        ({"initials": "white 380\nwhite 390"}, "two initial values"),
        ({"initials": "white 3.8.0"}, "is no number"),
        ({"steps": "seven years"}, "is no step"),
        ({"steps": "7, 180 %, a face"}, "over 0 and up to 1"),
        ({"storage_months": "1.5"}, "no whole number of months"),
        ({"supplier_text": ""}, "word for word"),
    ],
)
def test_what_is_typed_wrong_is_told_and_kept(client, road, changes, said):
    as_shop(client, road)
    answer = client.post(reverse("warranty-term-add"), TYPED | changes)
    assert answer.status_code in (400, 409)
    words = text_of(answer)
    assert said in words
    assert "80 % for 7 years, 70 % for 10." in words or changes.get("supplier_text") == ""


def test_lists_are_paged_and_their_queries_do_not_grow(client, road):
    claim = draft(client, road, faces_of(road, 1))
    addresses = [
        reverse("claim-list"),
        reverse("claim-page", args=[claim.pk]),
        reverse("warranty-terms"),
    ]
    counts = []
    for address in addresses:
        with _counted() as captured:
            client.get(address)
        counts.append(len(captured))
    for _ in range(3):
        make_term(road)
        face = make_face(road)
        read(road, face, LOW)
        WarrantyClaim.objects.create(
            agency=road.agency,
            shop=road.shop,
            number=WarrantyClaim.objects.count() + 1,
            drafted_at=claim.drafted_at,
        )
        row = claim.faces.order_by("pk")[0]
        row.pk, row.sign = None, face
        row._state.adding = True
        row.save()
    for address, before in zip(addresses, counts, strict=True):
        with _counted() as captured:
            client.get(address)
        assert len(captured) == before, address


def _counted():
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    return CaptureQueriesContext(connection)


def test_a_face_number_that_no_database_keeps_is_refused_in_words(client, road):
    faces_of(road, 1)
    as_engineer(client, road)
    address = reverse("warranty-lot", args=[road.shop.pk]) + f"?lot={road.lot}"
    answer = client.post(address, {"faces": ["9" * 25 + ":white"]})
    assert answer.status_code == 409
    assert "does not fall short" in text_of(answer)


def test_what_is_stated_is_told_in_the_words_of_the_condition(client, road):
    claim = draft(client, road, faces_of(road, 1))
    do(client, claim, "state", condition="upright", is_met="no", words="leans")
    page = text_of(client.get(reverse("claim-page", args=[claim.pk])))
    assert "Stands upright: <strong>not met</strong>, leans" in page


def test_a_remedy_that_is_too_long_is_told_and_not_cut(client, road):
    as_shop(client, road)
    long = TYPED | {"steps": "7, 80 %, " + "y" * 200}
    answer = client.post(reverse("warranty-term-add"), long)
    assert answer.status_code == 400
    assert "up to 160 letters; it has 200" in text_of(answer)
    assert "y" * 200 in answer.content.decode()

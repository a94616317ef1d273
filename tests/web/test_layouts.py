"""The pages of layouts: an order laid out, frozen and printed from by the shop."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.models import LayoutPlan, LogbookEntry, PrintRun, Role
from inventory.services.ordering.layouts.freezing import freeze_plan
from inventory.services.ordering.layouts.solving import solve
from inventory.services.production import record_press_event
from inventory.services.production.inks import receive_container, set_channel
from tests.factories import make_person
from tests.services.layouts.worlds import KIND, laid_out, make_world

pytestmark = pytest.mark.django_db

TYPED = {
    "cutter": "straight",
    "gap_in": "0.25",
    "edge_margin_in": "0.5",
    "bleed_in": "0.125",
    "overlap_in": "",
    "order_of_faces": "in_order",
    "seconds": "10",
}


@pytest.fixture
def world(db):
    return make_world(signs=3)


@pytest.fixture
def as_shop(client, world):
    client.force_login(make_person(world.shop, Role.SHOP))
    return client


@pytest.fixture
def searched_at_once(monkeypatch):
    """Search where the page asks for it, not in another process."""
    monkeypatch.setattr(
        "inventory.services.ordering.layouts.solving._spawn", lambda run: solve(run)
    )


def new_address(world):
    query = "&".join(f"{name}={value}" for name, value in KIND.items())
    return reverse("layout-new", args=[world.order.pk]) + "?" + query


def test_faces_are_laid_out_from_the_order(
    as_shop, world, searched_at_once, django_capture_on_commit_callbacks
):
    page = as_shop.get(reverse("order-page", args=[world.order.pk])).content.decode()
    assert new_address(world).replace("&", "&amp;") in page
    form = as_shop.get(new_address(world)).content.decode()
    assert world.roll.roll_number in form
    typed = TYPED | {"press": world.press.pk, "rolls": [world.narrow.pk]}
    for line in world.order.lines.all():
        typed |= {f"count_{line.pk}": "1", f"rank_{line.pk}": "1"}
    with django_capture_on_commit_callbacks(execute=True):
        answer = as_shop.post(new_address(world), typed)
    plan = LayoutPlan.objects.get()
    assert answer.url == reverse("layout-page", args=[plan.pk])
    page = as_shop.get(answer.url).content.decode()
    assert page.count('class="face"') == 3
    assert "Freeze layout" in page
    # 3 × 30 + 2 × 0.25 + 2 × 0.125 + 6 + 12 in are 108.75 in, or 9.06 ft.
    assert "9.06 ft" in page
    assert b"%PDF" in b"".join(as_shop.get(reverse("layout-pdf", args=[plan.pk])))[:8]
    # The next form begins with the rules of this one.
    again = as_shop.get(new_address(world)).content.decode()
    assert 'value="0.125"' in again


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"cutter": ""}, "Say how faces are cut off the roll."),
        ({"gap_in": "wide"}, "&#x27;wide&#x27; is not a number"),
        ({"rolls": []}, "No roll is picked"),
        ({"count": "many"}, "&#x27;many&#x27; is not a number of faces"),
        ({"count": "9"}, "1 of it are neither printed nor in a frozen layout"),
        ({"rank": "0"}, "1 comes off first"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(as_shop, world, changed, sentence):
    line = world.order.lines.order_by("number").first()
    typed = TYPED | {"press": world.press.pk, "rolls": [world.roll.pk]}
    typed |= {f"count_{line.pk}": "1", f"rank_{line.pk}": "1"}
    names = {"count": f"count_{line.pk}", "rank": f"rank_{line.pk}"}
    typed |= {names.get(name, name): value for name, value in changed.items()}
    answer = as_shop.post(new_address(world), typed)
    assert answer.status_code in (400, 409)
    assert sentence in answer.content.decode()
    assert 'value="0.125"' in answer.content.decode()
    assert not LayoutPlan.objects.exists()


def test_ticked_faces_are_kept_left_out_and_ranked(as_shop, world):
    plan = laid_out(world)
    address = reverse("layout-faces", args=[plan.pk])
    for act, more in (
        ("keep", {}),
        ("free", {}),
        ("rank", {"due_rank": "3"}),
        ("out", {}),
        ("in", {}),
    ):
        answer = as_shop.post(address, {"act": act, "faces": ["1"], **more})
        assert answer.status_code == 302, act
    face = plan.faces.get(number=1)
    assert (face.due_rank, face.is_left_out, face.load) == (3, False, None)
    for typed, sentence in (
        ({"act": "keep", "faces": ["1"]}, "lies on no roll"),
        ({"act": "out"}, "No face is picked"),
        ({"act": "rank", "faces": ["2"], "due_rank": "x"}, "no urgency"),
        ({"act": "burn", "faces": ["2"]}, "Say what is to be done"),
    ):
        answer = as_shop.post(address, typed)
        assert answer.status_code == 409
        assert sentence in answer.content.decode()


def test_a_frozen_layout_is_opened_again_with_a_reason(as_shop, world):
    plan = laid_out(world)
    assert as_shop.post(reverse("layout-freeze", args=[plan.pk])).status_code == 302
    page = as_shop.get(reverse("layout-page", args=[plan.pk])).content.decode()
    assert "Record its print run" in page
    assert "Keep where they lie" not in page
    assert as_shop.post(reverse("layout-open", args=[plan.pk])).status_code == 409
    opened = as_shop.post(reverse("layout-open", args=[plan.pk]), {"reason": "wrong roll"})
    assert opened.status_code == 302
    assert LogbookEntry.objects.filter(text__contains="wrong roll").exists()
    assert as_shop.post(reverse("layout-drop", args=[plan.pk])).status_code == 302
    assert LayoutPlan.objects.get().state == "dropped"
    assert as_shop.post(reverse("layout-freeze", args=[plan.pk])).status_code == 409


def test_the_run_of_a_load_is_recorded(as_shop, world):
    plan = freeze_plan(plan=laid_out(world))
    load = plan.loads.get()
    now = timezone.localtime().replace(second=0, microsecond=0)
    record_press_event(
        press=world.press,
        kind="roll_loaded",
        roll=load.roll,
        happened_at=now - timedelta(hours=2),
    )
    typed = {
        "started_at": f"{now - timedelta(hours=1):%Y-%m-%dT%H:%M}",
        "finished_at": f"{now - timedelta(minutes=30):%Y-%m-%dT%H:%M}",
        "not_printed": ["2"],
    }
    address = reverse("layout-run", args=[plan.pk, 1])
    assert "Face" in as_shop.get(address).content.decode()
    refused = as_shop.post(address, typed | {"finished_at": ""})
    assert refused.status_code == 400
    assert 'value="2" id="face-2" checked' in refused.content.decode()
    answer = as_shop.post(address, typed)
    run = PrintRun.objects.get()
    assert answer.url == reverse("run-page", args=[run.pk])
    assert run.signs.count() == 2
    page = as_shop.get(reverse("layout-page", args=[plan.pk])).content.decode()
    assert f"printed in run {run.run_number}" in page


def test_how_far_a_search_is(as_shop, world, monkeypatch):
    plan = laid_out(world)
    progress = reverse("layout-progress", args=[plan.pk])
    assert as_shop.get(progress).json()["is_open"] is False
    monkeypatch.setattr("inventory.services.ordering.layouts.solving._spawn", lambda run: None)
    again = reverse("layout-again", args=[plan.pk])
    assert as_shop.get(again).status_code == 200
    typed = TYPED | {"cutter": "contour", "rolls": [world.roll.pk]}
    assert as_shop.post(again, typed).status_code == 302
    assert as_shop.get(progress).json()["is_open"] is True
    page = as_shop.get(reverse("layout-page", args=[plan.pk])).content.decode()
    assert "Faces are being laid out" in page
    assert as_shop.post(reverse("layout-stop", args=[plan.pk])).status_code == 302
    assert plan.runs.filter(stop_asked_at__isnull=False).count() == 1


def test_turns_and_press_measures_are_stated(as_shop, world):
    turns = reverse("turns-set", args=["XI", "prismatic"])
    assert as_shop.post(turns, {"may_turn_90": "on"}).status_code == 400
    assert as_shop.post(turns, {"may_turn_90": "on", "basis": "bulletin"}).status_code == 302
    page = as_shop.get(reverse("turns-list")).content.decode()
    assert "bulletin" in page
    assert "90°" in page
    assert as_shop.get(reverse("turns-set", args=["IX", "prismatic"])).status_code == 404
    measures = reverse("press-measures", args=[world.press.pk])
    wide = {"printable_width_in": "60", "lead_in_in": "1", "tail_in": "2"}
    assert "54 in" in as_shop.post(measures, wide).content.decode()
    assert as_shop.post(measures, wide | {"printable_width_in": "53"}).status_code == 302
    page = as_shop.get(reverse("press-page", args=[world.press.pk])).content.decode()
    assert "prints 53 in" in page


def test_the_list_asks_no_more_for_more_layouts(as_shop, world, django_assert_max_num_queries):
    laid_out(world)
    address = reverse("layout-list")
    with django_assert_max_num_queries(12) as one:
        assert as_shop.get(address).status_code == 200
    for _ in range(4):
        another(world)
    with django_assert_max_num_queries(len(one)):
        assert as_shop.get(address).content.decode().count("/layouts/") >= 5


def another(world):
    plan = LayoutPlan.objects.filter(organisation=world.shop).order_by("pk")[0]
    plan.pk = None
    plan.save()


def test_what_a_layout_takes_is_told_with_where_an_ink_runs_out(as_shop, world):
    plan = laid_out(world)
    address = reverse("layout-page", args=[plan.pk])
    page = as_shop.get(address).content.decode()
    assert "without set-up, which is not stated" in page
    assert "mixed of process inks" in page  # red: no channel carries it
    set_channel(
        press=world.press, name="4", color="red", kind="spot", ml_per_m2=12.0, cover_share=0.8
    )
    container = receive_container(
        shop=world.shop,
        container_number="K-1",
        lot="I-9",
        color="red",
        kind="spot",
        volume_ml=8.0,
    )
    record_press_event(
        press=world.press,
        kind="ink_changed",
        ink_channel="4",
        container=container,
        happened_at=timezone.now() - timedelta(minutes=5),
    )
    page = as_shop.get(address).content.decode()
    # Octagons of 30 in are 5.177 ft² each: 5.177 × 0.0929 m² × 12 × 0.8 = 4.62 ml a face.
    numbers = list(plan.faces.order_by("pieces__along_in").values_list("number", flat=True))
    assert f"runs out at face {numbers[1]}" in page
    assert "13.9" in page

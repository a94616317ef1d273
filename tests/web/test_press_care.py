"""A press: channels, tasks and checks; ink in stock and shelf lives, as the shop works them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from inventory.models import (
    InkChannel,
    InkContainer,
    MaintenanceTask,
    PressEvent,
    Role,
    ShopRule,
)
from inventory.services.production import record_press_event
from inventory.services.production.inks import receive_container, set_channel
from inventory.services.production.maintenance import set_task
from tests.factories import (
    make_agency,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    print_order,
)
from tests.web.acting import PAGE_TIME, act_as, stop_the_clock

pytestmark = pytest.mark.django_db

NOW = PAGE_TIME
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def shop(agency):
    return make_shop("Tern Signs", agency)


@pytest.fixture
def operator(client, shop):
    return act_as(client, shop, Role.SHOP)


@pytest.fixture
def press(shop):
    return make_press(shop, make_roll(shop))


def read(answer):
    """Return a page's words, blanks between them made one."""
    assert answer.status_code in (200, 400, 409)
    return " ".join(answer.content.decode().split())


def event(press, kind, at, **fields):
    return record_press_event(press=press, kind=kind, happened_at=at, now=NOW, **fields)


def container(shop, number, **fields):
    given: dict[str, Any] = {
        "lot": f"L-{number}",
        "color": "red",
        "kind": "spot",
        "volume_ml": 500.0,
    }
    return receive_container(shop=shop, container_number=number, now=NOW, **given | fields)


def typed(moment):
    return moment.strftime("%Y-%m-%dT%H:%M")


@pytest.mark.parametrize("name", ["stock-inks", "stock-ink-receive", "stock-shelf-lives"])
def test_ink_and_shelf_lives_are_the_shops(client, agency, operator, name):
    assert client.get(reverse(name)).status_code == 200
    act_as(client, agency, Role.ENGINEER)
    assert client.get(reverse(name)).status_code == 403


def test_a_channel_a_task_and_the_set_up_are_written_down_and_changed(client, press, operator):
    form = {"name": "R1", "color": "Red", "kind": "spot", "cover_percent": "20"}
    assert client.post(reverse("press-channel-add", args=(press.pk,)), form).status_code == 302
    channel = InkChannel.objects.get()
    assert (channel.color, channel.cover_share, channel.is_in_use) == ("red", 0.2, False)
    address = reverse("press-channel", args=(press.pk, channel.pk))
    assert 'value="20.0"' in read(client.get(address))
    client.post(address, form | {"is_in_use": "on", "ml_per_m2": "11"})
    channel.refresh_from_db()
    assert (channel.ml_per_m2, channel.is_in_use) == (11.0, True)
    task = {"name": "Wipe the heads", "every_days": "7", "is_in_use": "on"}
    client.post(reverse("press-task-add", args=(press.pk,)), task)
    kept = MaintenanceTask.objects.get()
    wrong = client.post(
        reverse("press-task", args=(press.pk, kept.pk)), task | {"every_hours": "50"}
    )
    assert "one of the two" in read(wrong)
    odd = client.post(
        reverse("press-task", args=(press.pk, kept.pk)), task | {"every_days": "1.5"}
    )
    assert "is not a whole number of days" in read(odd)
    client.post(reverse("press-set-up", args=(press.pk,)), {"setup_minutes": "12"})
    page = read(client.get(reverse("press-page", args=(press.pk,))))
    for words in ("Set-up: 12 min", "Wipe the heads", "weekly", "not on record as done"):
        assert words in page


def test_a_container_is_put_in_by_picking_channel_and_container(client, shop, press, operator):
    set_channel(press=press, name="R1", color="red", kind="spot", now=NOW)
    box = container(shop, "7")
    address = reverse("press-event", args=(press.pk, "ink_changed"))
    form = read(client.get(address + "?channel=R1"))
    assert '<option value="R1" selected>R1, red</option>' in form
    assert "red, 7, lot L-7" in form
    sent = {"happened_at": typed(NOW - HOUR), "ink_channel": "R1", "container": box.pk}
    assert client.post(address, sent | {"after_face": "4"}).status_code == 302
    assert client.post(address, sent | {"after_face": "4"}).status_code == 302  # a double tap
    written = PressEvent.objects.get(kind="ink_changed")
    assert (written.container, written.ink_lot, written.after_face) == (box, "L-7", 4)
    page = read(client.get(reverse("press-page", args=(press.pk,))))
    assert "after face 4 of the run" in page
    assert "500 ml" in page
    assert f"{press.name}, R1" in read(client.get(reverse("stock-inks")))


def test_a_due_task_is_called_up_on_the_board_until_it_is_done(client, press, operator):
    task = set_task(press=press, name="Empty the waste bottle", every_days=1, now=NOW)
    board = read(client.get(reverse("board")))
    assert "Empty the waste bottle" in board
    address = reverse("press-event", args=(press.pk, "maintenance_done"))
    assert f'<option value="{task.pk}" selected>' in read(
        client.get(f"{address}?task={task.pk}")
    )
    client.post(address, {"happened_at": typed(NOW - HOUR), "task": task.pk})
    assert "Empty the waste bottle" not in read(client.get(reverse("board")))
    page = read(client.get(reverse("press-page", args=(press.pk,))))
    assert f"by {operator}" in page


def test_a_failed_check_is_called_up_with_the_runs_to_look_at(
    client, agency, shop, press, operator
):
    event(press, "check_passed", NOW - 3 * HOUR, check_kind="density")
    run = print_order(make_released_order(agency, shop, [make_sign(agency)]), press, now=NOW)
    address = reverse("press-event", args=(press.pk, "check_failed"))
    assert "pick the check" in read(client.get(address))
    assert "Say which check it was." in read(client.post(address, {"happened_at": typed(NOW)}))
    client.post(address, {"happened_at": typed(NOW), "check_kind": "density"})
    board = read(client.get(reverse("board")))
    assert f"run {run.run_number}" in board
    assert "Density check" in board
    page = read(client.get(reverse("run-page", args=(run.pk,))))
    assert "Look at its faces before they go out." in page


def test_a_run_page_says_which_faces_came_before_a_change(
    client, agency, shop, press, operator
):
    for number, at in (("1", NOW - 3 * HOUR), ("2", NOW - timedelta(minutes=16))):
        event(
            press,
            "ink_changed",
            at,
            ink_channel="R1",
            container=container(shop, number),
        )
    signs = [make_sign(agency) for _ in range(4)]
    run = print_order(make_released_order(agency, shop, signs), press, now=NOW)
    page = read(client.get(reverse("run-page", args=(run.pk,))))
    assert "Stretch 1: faces 1 to 2" in page
    assert "Stretch 2: faces 3 to 4" in page
    assert "Estimated by the share of the run" in page


def test_dryer_and_ink_measured_are_written_with_their_figures(client, shop, press, operator):
    box = container(shop, "1")
    sent = {"happened_at": typed(NOW - HOUR)}
    address = reverse("press-event", args=(press.pk, "dryer_set"))
    assert "Say at what heat" in read(client.post(address, sent))
    client.post(address, sent | {"dryer_f": "140"})
    address = reverse("press-event", args=(press.pk, "ink_measured"))
    assert "Say which container." in read(client.post(address, sent | {"remaining_ml": "9"}))
    client.post(address, sent | {"container": box.pk, "remaining_ml": "333"})
    page = read(client.get(reverse("press-page", args=(press.pk,))))
    assert "140 °F" in page
    assert "333 ml left" in page
    assert "333 ml" in read(client.get(reverse("stock-inks")))


def test_a_container_is_received_and_its_day_shown(client, shop, operator):
    form = {"container_number": "C-1", "lot": "77", "color": "blue", "kind": "process"}
    assert client.post(reverse("stock-ink-receive"), form).status_code == 302
    box = InkContainer.objects.get()
    page = read(client.get(reverse("stock-inks")))
    assert "C-1" in page
    assert "not known" in page  # volume and days
    address = reverse("stock-days", args=("inks", box.pk))
    client.post(address, {"use_by_on": "2020-01-31"})
    page = read(client.get(reverse("stock-inks")))
    assert '<span class="tag severe">over</span>' in page
    again = client.post(reverse("stock-ink-receive"), form)
    assert "a container is received once" in read(again)


def test_shelf_lives_start_empty_and_give_rolls_their_day(client, shop, operator):
    make_roll(shop, received_on=NOW.date())
    assert (
        'value="'
        not in read(client.get(reverse("stock-shelf-lives")))
        .split("sheeting_m")[1]
        .split(">")[0]
    )
    client.post(reverse("stock-shelf-lives"), {"sheeting_months": "12"})
    rule = ShopRule.objects.get()
    assert (rule.sheeting_months, rule.ink_months) == (12, None)
    expected = NOW.date().replace(year=NOW.year + 1)
    assert f"{expected:%Y-%m-%d}" in read(client.get(reverse("stock-rolls")))
    wrong = client.post(reverse("stock-shelf-lives"), {"sheeting_months": "999"})
    assert "type 1 to 240" in read(wrong)


def test_another_shops_press_channel_and_stock_are_not_found(client, shop, press, agency):
    channel = set_channel(press=press, name="R1", color="red", kind="spot", now=NOW)
    task = set_task(press=press, name="Wipe", every_days=1, now=NOW)
    box = container(shop, "1")
    act_as(client, make_shop("Other Signs"), Role.SHOP)
    for address in (
        reverse("press-channel", args=(press.pk, channel.pk)),
        reverse("press-task", args=(press.pk, task.pk)),
        reverse("press-set-up", args=(press.pk,)),
        reverse("stock-days", args=("inks", box.pk)),
    ):
        assert client.post(address, {}).status_code == 404


def test_more_containers_ask_no_more_queries(
    client, shop, press, operator, django_assert_max_num_queries
):
    for number in range(30):
        box = container(shop, f"{number}")
        event(
            press,
            "ink_changed",
            NOW - (40 - number) * HOUR,
            ink_channel="R1",
            container=box,
        )
    with django_assert_max_num_queries(18):
        client.get(reverse("stock-inks"))

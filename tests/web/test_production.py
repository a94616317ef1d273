"""The shop's pages: the board, presses and their log, runs, and stock."""

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import (
    OverlayRoll,
    Press,
    PressEvent,
    PrintOrder,
    PrintRun,
    Role,
    SheetingRoll,
    Sign,
)
from inventory.services.ordering import draft_order, release_order
from tests.factories import (
    NOW,
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


def typed(moment):
    """Return a moment as the browser sends it."""
    return moment.strftime("%Y-%m-%dT%H:%M")


def run_form(order, press, **fields):
    """Return a run of the hour before the page's now, of every line's faces."""
    form = {
        "press": press.pk,
        "started_at": typed(PAGE_TIME - timedelta(minutes=60)),
        "finished_at": typed(PAGE_TIME - timedelta(minutes=5)),
        "note": "second shift",
    }
    form |= {f"line_{line.pk}": str(line.quantity) for line in order.lines.all()}
    return form | fields


SHOP_PAGES = [
    "board",
    "press-list",
    "press-add",
    "stock-faces",
    "stock-rolls",
    "stock-overlays",
    "roll-receive",
    "overlay-receive",
]


@pytest.mark.parametrize("name", SHOP_PAGES)
def test_the_shops_pages_are_for_the_shop(client, agency, operator, name):
    assert client.get(reverse(name)).status_code == 200
    client.logout()
    act_as(client, agency, Role.ENGINEER)
    assert client.get(reverse(name)).status_code == 403


def test_only_the_shop_records_runs(client, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    for role in (Role.ENGINEER, Role.CREW):
        act_as(client, agency, role)
        answer = client.post(reverse("order-run", args=(order.pk,)), run_form(order, press))
        assert answer.status_code == 403
    assert not PrintRun.objects.exists()


def test_the_board_adds_up_what_is_left_over_orders(client, agency, shop, operator):
    first = make_released_order(agency, shop, [make_sign(agency), make_sign(agency)])
    second = make_released_order(agency, shop, [make_sign(agency)])
    print_order(
        first,
        make_press(shop, make_roll(shop)),
        line_quantities={first.lines.order_by("number")[0].pk: 1},
    )
    page = client.get(reverse("board")).content.decode()
    # Two Stop signs of 30 × 30 in are left: 2 × 6.25 ft² = 12.5 ft².
    assert "12.5" in page
    assert first.number in page
    assert second.number in page


def test_the_board_names_what_is_late(client, agency, shop, operator):
    order = draft_order(
        agency=agency,
        shop=shop,
        signs=[make_sign(agency)],
        sheeting_type="XI",
        needed_by_on=NOW.date(),
        now=NOW,
    ).order
    release_order(order=order, now=NOW)
    assert "No order is past" in client.get(reverse("board")).content.decode()
    PrintOrder.objects.filter(pk=order.pk).update(needed_by_on=NOW.date() - timedelta(days=1))
    assert "No order is past" not in client.get(reverse("board")).content.decode()


def test_the_board_asks_no_more_for_more_orders(
    client, agency, shop, operator, django_assert_max_num_queries
):
    make_press(shop, make_roll(shop))
    for _ in range(8):
        make_released_order(agency, shop, [make_sign(agency)])
    # Session, user, roles; the lines; presses; the log and the roll of the one press.
    with django_assert_max_num_queries(10):
        client.get(reverse("board"))


def test_the_board_says_what_is_on_the_press_now(client, shop, operator):
    roll = make_roll(shop)
    make_press(shop, roll)
    page = client.get(reverse("board")).content.decode()
    assert roll.roll_number in page
    assert roll.lot in page


def test_a_run_puts_faces_into_stock_with_their_labels(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency), make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    answer = client.post(reverse("order-run", args=(order.pk,)), run_form(order, press))
    run = PrintRun.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == reverse("run-page", args=(run.pk,))
    assert run.operator == operator
    page = client.get(answer["Location"]).content.decode()
    labels = Sign.objects.filter(print_run=run).values_list("label_id", flat=True)
    assert len(labels) == 2
    assert all(label in page for label in labels)
    stock = client.get(reverse("stock-faces")).content.decode()
    assert all(label in stock for label in labels)


def test_a_run_sent_twice_is_recorded_once(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency), make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    line = order.lines.order_by("number")[0]
    form = run_form(order, press) | {f"line_{line.pk}": "0"}
    address = reverse("order-run", args=(order.pk,))
    first, second = client.post(address, form), client.post(address, form)
    assert PrintRun.objects.count() == 1
    assert first["Location"] == second["Location"]


def test_a_refused_run_keeps_everything_that_was_typed(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency)])
    press = make_press(shop)
    form = run_form(order, press, roll_length_used_ft="7.25", run_number="A-17")
    answer = client.post(reverse("order-run", args=(order.pk,)), form)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert 'role="alert"' in page
    assert "7.25" in page
    assert "A-17" in page
    assert "second shift" in page
    assert form["started_at"] in page
    assert form["finished_at"] in page
    assert not PrintRun.objects.exists()


def test_more_faces_than_asked_for_are_refused_in_a_sentence(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    line = order.lines.get()
    answer = client.post(
        reverse("order-run", args=(order.pk,)),
        run_form(order, press) | {f"line_{line.pk}": "4"},
    )
    assert answer.status_code == 400
    assert "still to be printed" in answer.content.decode()


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("started_at", "yesterday", "is not a date and time"),
        ("printed_area_ft2", "a lot", "is not a number"),
        ("finished_at", "", "Say when printing finished."),
    ],
)
def test_what_is_not_a_figure_is_refused_in_a_sentence(
    client, agency, shop, operator, name, value, sentence
):
    order = make_released_order(agency, shop, [make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    answer = client.post(
        reverse("order-run", args=(order.pk,)), run_form(order, press) | {name: value}
    )
    assert answer.status_code == 400
    assert sentence in answer.content.decode()


def test_a_number_of_faces_in_words_is_refused(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    line = order.lines.get()
    answer = client.post(
        reverse("order-run", args=(order.pk,)),
        run_form(order, press) | {f"line_{line.pk}": "one"},
    )
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "is not a number of faces" in page
    assert 'value="one"' in page


def test_looking_up_what_was_loaded_records_nothing(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency)])
    roll = make_roll(shop)
    press = make_press(shop, roll)
    form = run_form(order, press, note="still typing") | {"look": "1"}
    answer = client.post(reverse("order-run", args=(order.pk,)), form)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert f"roll {roll.roll_number}, lot {roll.lot}" in page
    assert "still typing" in page
    assert not PrintRun.objects.exists()


def test_what_was_loaded_is_answered_while_typing(client, shop, operator):
    roll, other = make_roll(shop), make_roll(shop)
    press = make_press(shop, roll)
    PressEvent.objects.create(
        press=press,
        kind="roll_loaded",
        roll=other,
        happened_at=PAGE_TIME - timedelta(minutes=30),
        recorded_at=PAGE_TIME,
    )
    answer = client.get(
        reverse("run-loaded"),
        {
            "press": press.pk,
            "started_at": typed(PAGE_TIME - timedelta(minutes=60)),
            "finished_at": typed(PAGE_TIME - timedelta(minutes=5)),
        },
    )
    page = answer.content.decode()
    assert roll.roll_number in page
    assert other.roll_number in page
    assert "changed once" in page


def test_the_faces_that_fit_the_loaded_roll_are_filled_in(client, agency, shop, operator):
    order = make_released_order(agency, shop, [make_sign(agency)])
    make_press(shop, make_roll(shop))
    line = order.lines.get()
    page = client.get(reverse("order-run", args=(order.pk,)))
    assert page.context["form"][f"line_{line.pk}"].value() == 1


def test_a_press_event_sent_twice_is_written_once(client, shop, operator):
    press, roll = make_press(shop), make_roll(shop)
    address = reverse("press-event", args=(press.pk, "roll_loaded"))
    form = {"happened_at": typed(NOW), "roll": roll.pk, "note": "from the rack"}
    for _ in range(2):
        assert client.post(address, form).status_code == 302
    event = PressEvent.objects.get(press=press)
    assert event.recorded_by == operator
    assert event.happened_at == NOW


def test_a_refused_press_event_keeps_what_was_typed(client, shop, operator):
    press, roll = make_press(shop, make_roll(shop)), make_roll(shop)
    answer = client.post(
        reverse("press-event", args=(press.pk, "roll_taken_off")),
        {
            "happened_at": typed(NOW),
            "roll": roll.pk,
            "remaining_ft": "12.5",
            "note": "for the rack",
        },
    )
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "cannot have been taken off" in page
    assert "for the rack" in page
    assert "12.5" in page
    assert not PressEvent.objects.filter(kind="roll_taken_off").exists()


def test_a_corrected_event_stays_in_the_log(client, shop, operator):
    wrong, right = make_roll(shop), make_roll(shop)
    press = make_press(shop, wrong)
    event = PressEvent.objects.get(press=press)
    address = reverse("press-event", args=(press.pk, "roll_loaded"))
    form = {"happened_at": typed(event.happened_at), "roll": right.pk}
    assert client.post(f"{address}?corrects={event.pk}", form).status_code == 302
    page = client.get(reverse("press-page", args=(press.pk,))).content.decode()
    assert wrong.roll_number in page
    assert right.roll_number in page
    assert "corrected" in page


def test_an_event_that_did_not_happen_is_withdrawn(client, shop, operator):
    press = make_press(shop, make_roll(shop))
    event = PressEvent.objects.get(press=press)
    address = reverse("press-event", args=(press.pk, "withdrawn"))
    answer = client.post(f"{address}?corrects={event.pk}", {"note": "wrong press"})
    assert answer.status_code == 302
    board = client.get(reverse("board")).content.decode()
    assert "not known" in board


def test_a_press_of_another_shop_is_no_page(client, operator):
    press = make_press(make_shop())
    assert client.get(reverse("press-page", args=(press.pk,))).status_code == 404
    assert (
        client.get(reverse("press-event", args=(press.pk, "check_passed"))).status_code == 404
    )


def test_the_press_pages_carry_their_cautions(client, shop, operator):
    press = make_press(shop)
    for address in (
        reverse("press-page", args=(press.pk,)),
        reverse("press-event", args=(press.pk, "ink_changed")),
        reverse("press-list"),
    ):
        text = client.get(address).content.decode()
        assert "safety data sheets" in text
        assert "do not replace training" in text


def test_a_long_press_log_is_paged_and_asks_no_more(
    client, shop, operator, django_assert_max_num_queries
):
    press = make_press(shop)
    PressEvent.objects.bulk_create(
        PressEvent(
            press=press,
            kind="check_passed",
            happened_at=NOW - timedelta(hours=n),
            recorded_at=NOW,
        )
        for n in range(40)
    )
    with django_assert_max_num_queries(14):
        page = client.get(reverse("press-page", args=(press.pk,))).content.decode()
    assert "1 to 25 of 40" in page


def test_a_roll_is_received_once(client, shop, operator):
    form = {
        "roll_number": "R-77",
        "lot": "L-9",
        "sheeting_type": "XI",
        "optics": "",
        "color": "white",
        "width_in": "48",
        "length_ft": "150",
        "received_on": "2026-05-30",
    }
    address = reverse("roll-receive")
    assert client.post(address, form).status_code == 302
    again = client.post(address, form)
    assert again.status_code == 409
    assert "L-9" in again.content.decode()
    assert SheetingRoll.objects.filter(organisation=shop).count() == 1


def test_an_impossible_roll_is_refused_with_its_bound(client, operator):
    answer = client.post(
        reverse("overlay-receive"),
        {"roll_number": "V-1", "lot": "L", "width_in": "-4", "length_ft": "150"},
    )
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "over 0 in" in page
    assert "V-1" in page
    assert not OverlayRoll.objects.exists()


def test_a_press_is_added(client, shop, operator):
    answer = client.post(
        reverse("press-add"), {"name": "Press 2", "width_in": "54", "rate_ft2_per_h": "162"}
    )
    assert answer.status_code == 302
    assert Press.objects.get(organisation=shop).name == "Press 2"


def test_a_spoilt_face_goes_out_of_stock_and_its_order_back_to_the_press(
    client, agency, shop, operator
):
    order = make_released_order(agency, shop, [make_sign(agency)])
    run = print_order(order, make_press(shop, make_roll(shop)))
    face = Sign.objects.get(print_run=run)
    address = reverse("face-spoilt", args=(face.pk,))
    form = {"reason": "damaged", "removed_on": "2026-06-01", "note": "scratched"}
    assert client.post(address, form).status_code == 302
    order.refresh_from_db()
    assert order.state == PrintOrder.State.RELEASED


def test_a_face_that_is_up_is_not_the_shops_to_take_out(client, agency, shop, operator):
    sign = make_sign(agency, maker=shop)
    assert client.get(reverse("face-spoilt", args=(sign.pk,))).status_code == 404


def test_a_long_list_of_stock_asks_no_more(
    client, agency, shop, operator, django_assert_max_num_queries
):
    order = make_released_order(agency, shop, [make_sign(agency) for _ in range(20)])
    print_order(order, make_press(shop, make_roll(shop)))
    with django_assert_max_num_queries(7):
        page = client.get(reverse("stock-faces")).content.decode()
    assert "1 to 20 of 20" in page

"""Faces go up and come down: what fits where, on which day, and who gets there first."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from inventory.errors import (
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.models import LogbookEntry, Position, PrintOrder, Road, Role, Sign, Standing
from inventory.services.assessment import mark_due
from inventory.services.installation import (
    faces_fitting,
    install_sign,
    remove_sign,
)
from inventory.services.ordering import draft_order, release_order
from inventory.services.ordering.stock_matching import faces_in_stock
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_support,
    position_of,
    print_order,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db

TODAY = NOW.date()
DAY = timedelta(days=1)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


def print_for(agency, shop, *signs: Sign) -> list[Sign]:
    """Return the faces a shop printed for signs' positions, in the order of the signs."""
    order = make_released_order(agency, shop, signs)
    run = print_order(order, make_press(shop, make_roll(shop)))
    return list(run.signs.order_by("print_number"))


def stock_face(agency, **fields: Any) -> Sign:
    """Return a Stop face from the agency's own stock."""
    defaults: dict[str, Any] = {
        "owner": agency,
        "state": Sign.State.IN_STOCK,
        "sign_code": "R1-1",
        "width_in": 30.0,
        "height_in": 30.0,
    }
    return Sign.objects.create(**defaults | fields)


def known_stock(agency, **fields: Any) -> Sign:
    """Return a Stop face from the agency's own stock with its colours and sheeting, Type XI."""
    face = make_sign(agency, **{"sheeting_type": "XI"} | fields)
    Sign.objects.filter(pk=face.pk).update(
        state=Sign.State.IN_STOCK, position=None, installed_on=None
    )
    face.refresh_from_db()
    return face


def put_up(face: Sign, position: Position, **fields: Any) -> Sign:
    return install_sign(
        sign=face, position=position, **{"installed_on": TODAY, "now": NOW} | fields
    )


# --- going up


def test_the_old_face_comes_down_with_a_reason_and_the_new_one_takes_its_place(agency, shop):
    old = make_sign(agency)
    (face,) = print_for(agency, shop, old)
    crew = make_person(agency, role=Role.CREW)
    new = put_up(
        face, position_of(old), removal_reason="damaged", removed_note="shot at", by=crew
    )
    old.refresh_from_db()
    assert (old.state, old.removed_on, old.removal_reason) == ("removed", TODAY, "damaged")
    assert old.position == new.position
    assert (new.state, new.owner, new.maker) == ("installed", agency, shop)
    assert (new.installed_on, new.installed_precision) == (TODAY, "day")
    removed = LogbookEntry.objects.get(sign=old, verb="remove sign")
    assert (removed.actor, removed.organisation) == (crew, agency)
    assert removed.text.endswith("removed on 2026-06-01 (damaged): shot at")
    installed = LogbookEntry.objects.get(sign=new, verb="install sign")
    assert f"in place of {old}" in installed.text
    assert f"Order {PrintOrder.objects.get().number} is closed" in installed.text


def test_an_old_face_does_not_come_down_without_a_reason(agency, shop):
    old = make_sign(agency)
    (face,) = print_for(agency, shop, old)
    for reason in (None, ""):
        with pytest.raises(
            StateConflictError, match=f"Sign {old.pk} .* comes down: say why, with one of below"
        ):
            put_up(face, position_of(old), removal_reason=reason)
    with pytest.raises(OutOfRangeError, match="'ugly' is no reason for a face to come down"):
        put_up(face, position_of(old), removal_reason="ugly")
    assert Sign.objects.get(pk=old.pk).state == "installed"
    assert Sign.objects.get(pk=face.pk).state == "in_stock"


def test_an_empty_position_needs_no_reason(agency):
    new = put_up(stock_face(agency), make_position(agency))
    assert new.state == "installed"


def test_the_due_list_follows(agency):
    old = make_sign(agency)
    mark_due(organisation=agency, now=NOW)
    new = put_up(stock_face(agency), position_of(old), removal_reason="aged")
    assert list(Standing.objects.values_list("sign", flat=True)) == [new.pk]
    remove_sign(sign=new, removed_on=TODAY, reason="stolen", now=NOW)
    assert not Standing.objects.exists()


def test_an_order_closes_when_its_last_face_is_up(agency, shop):
    old = [make_sign(agency), make_sign(agency)]
    faces = print_for(agency, shop, *old)
    order = PrintOrder.objects.get()
    put_up(faces[0], position_of(old[0]), removal_reason="aged")
    order.refresh_from_db()
    assert order.state == "printed"
    put_up(faces[1], position_of(old[1]), removal_reason="aged")
    order.refresh_from_db()
    assert order.state == "closed"


def test_equal_faces_of_an_order_may_change_places(agency, shop):
    old = [make_sign(agency), make_sign(agency)]
    faces = print_for(agency, shop, *old)
    put_up(faces[0], position_of(old[1]), removal_reason="aged")
    put_up(faces[1], position_of(old[0]), removal_reason="aged")
    assert PrintOrder.objects.get().state == "closed"


def test_a_partly_printed_order_does_not_close(agency, shop):
    old = [make_sign(agency), make_sign(agency)]
    order = make_released_order(agency, shop, old)
    first = order.lines.get(number=1)
    press = make_press(shop, make_roll(shop))
    (face,) = print_order(order, press, line_quantities={first.pk: 1}).signs.all()
    put_up(face, position_of(old[0]), removal_reason="aged")
    order.refresh_from_db()
    assert order.state == "released"


# --- what fits


@pytest.mark.parametrize(
    ("brought", "asked", "sentence"),
    [
        ({"sign_code": "R1-2"}, {}, "is R1-2, but this position asks for R1-1"),
        ({"sign_code": ""}, {}, "is of an unknown code, but this position asks for R1-1"),
        (
            {"sign_code": "W1-2", "variant": "L"},
            {"sign_code": "W1-2", "variant": "R"},
            "is W1-2L, but this position asks for W1-2R",
        ),
        (
            {"sign_code": "W1-2", "variant": "L"},
            {"sign_code": "W1-2R"},
            "is W1-2L, but this position asks for W1-2R",
        ),
        ({"width_in": 36.0, "height_in": 36.0}, {}, "is 36 × 36 in, but .* 30 × 30 in"),
        ({"width_in": None, "height_in": 36.0}, {}, r"is \? × 36 in, but"),
        (
            {"legend_text": "Elm St"},
            {"legend_text": "Elm Ave", "is_custom_legend": True},
            "reads 'Elm St', but this position asks for 'Elm Ave'",
        ),
        (
            {"sign_code": "R2-1", "legend_text": "Speed Limit 50"},
            {"sign_code": "R2-1", "legend_text": "Speed Limit 35"},
            "reads 'Speed Limit 50', but this position asks for 'Speed Limit 35'",
        ),
        ({}, {"sign_code": ""}, "not known which sign this position is for; set its code"),
        ({}, {"is_retired": True}, "is retired; no face goes up there"),
    ],
)
def test_a_face_that_is_not_what_the_position_asks_for_is_refused(
    agency, brought, asked, sentence
):
    face, position = stock_face(agency, **brought), make_position(agency, **asked)
    with pytest.raises(StateConflictError, match=sentence):
        put_up(face, position)
    assert face not in faces_fitting(position)


@pytest.mark.parametrize(
    ("brought", "asked"),
    [
        ({"sign_code": "W1-2", "variant": "R"}, {"sign_code": "W1-2R"}),
        ({"sign_code": "w1-2", "variant": "R"}, {"sign_code": "W1-2", "variant": "R"}),
        ({"sign_code": "ZZ9"}, {"sign_code": "ZZ9"}),  # in no catalogue, but the same
        ({"width_in": None, "height_in": None}, {}),
        # D9-2 has several sizes by road; the road is not known, so none is asked for.
        ({"sign_code": "W3-1"}, {"sign_code": "W3-1", "width_in": None, "height_in": None}),
        ({"width_in": 30.004}, {}),
        ({"legend_text": "SPEED LIMIT 35 "}, {"legend_text": "Speed Limit 35"}),
        ({"legend_text": ""}, {"legend_text": "Speed Limit 35"}),  # its wording is not known
    ],
)
def test_what_is_not_contradicted_goes_up(agency, brought, asked):
    new = put_up(stock_face(agency, **brought), make_position(agency, **asked))
    assert new.state == "installed"


def test_a_position_without_a_size_asks_for_the_tables(agency):
    road = Road.objects.create(organisation=agency, name="A1", road_class="expressway")
    position = make_position(
        agency, width_in=None, height_in=None, support=make_support(agency, road=road)
    )
    with pytest.raises(
        StateConflictError,
        # MUTCD 11th edition (2023) Table 2B-1: R1-1 is 36 × 36 on expressways.
        match=r"30 × 30 in, but this position asks for 36 × 36 in \(standard size on an exp",
    ):
        put_up(stock_face(agency), position)


def test_faces_that_fit_come_with_those_ordered_for_the_place_first(agency, shop):
    old = [make_sign(agency), make_sign(agency)]
    own = known_stock(agency)
    faces = print_for(agency, shop, *old)
    known_stock(agency, sign_code="R1-2")
    # The first face was printed for another place, so it is not free.
    assert faces_fitting(position_of(old[1])) == [faces[1], own]
    assert faces_in_stock(agency).count() == 4


def test_a_face_of_other_or_unknown_sheeting_or_background_is_not_proposed(agency):
    position = position_of(make_sign(agency))  # Type IX, red
    known_stock(agency, sheeting_type="XI")
    known_stock(agency, colours=(("background", "yellow"), ("legend", "black")))
    known_stock(agency, sheeting_type="")
    stock_face(agency)
    assert faces_fitting(position) == []
    face = known_stock(agency, sheeting_type="IX")
    assert faces_fitting(position) == [face]


def test_an_agency_sees_no_other_agencys_stock(agency, shop):
    other = make_agency()
    other_shop = make_shop(agency=other)
    theirs = print_for(other, other_shop, make_sign(other))
    assert not faces_in_stock(agency).exists()
    assert list(faces_in_stock(other)) == theirs


# --- whose it is


def test_a_face_made_for_another_agency_is_not_put_up(agency, shop):
    other = make_agency()
    (face,) = print_for(other, make_shop(agency=other), make_sign(other))
    with pytest.raises(NotPermittedError, match=f"was made for {other}, not for {agency}"):
        put_up(face, make_position(agency))
    with pytest.raises(NotPermittedError, match=f"was made for {other}, not for {agency}"):
        put_up(stock_face(other), make_position(agency))


def test_a_shops_own_stock_goes_up_only_for_its_customers(agency, shop):
    position = make_position(agency)
    loose = {"owner": None, "fabricated_on": TODAY}
    with pytest.raises(NotPermittedError, match="which does not print for"):
        put_up(stock_face(agency, maker=make_shop(), **loose), position)
    assert put_up(stock_face(agency, maker=shop, **loose), position).owner == agency


@pytest.mark.parametrize("state", ["installed", "removed"])
def test_only_a_face_in_stock_goes_up(agency, state):
    fields: dict[str, Any] = {"removal_reason": "aged"} if state == "removed" else {}
    up = make_sign(agency, state=state, **fields)
    with pytest.raises(StateConflictError, match=f"is {state} at .*, not in stock; put up"):
        put_up(up, make_position(agency))


# --- days


@pytest.mark.parametrize(
    ("fields", "error", "sentence"),
    [
        ({"installed_on": TODAY + DAY}, OutOfRangeError, "on 2026-06-02; today is 2026-06-01"),
        (
            {"installed_on": TODAY - DAY},
            OutOfRangeError,
            "was made on 2026-06-01 and cannot have been put up before, on 2026-05-31",
        ),
    ],
)
def test_a_face_does_not_go_up_before_it_is_made_or_tomorrow(
    agency, shop, fields, error, sentence
):
    old = make_sign(agency)
    (face,) = print_for(agency, shop, old)
    with pytest.raises(error, match=sentence):
        put_up(face, position_of(old), removal_reason="aged", **fields)


def test_today_is_the_agencys_today(agency):
    agency.time_zone = "America/Denver"
    agency.save()
    evening = datetime(2026, 6, 2, 3, 0, tzinfo=UTC)  # 21:00 on 1 June in Denver
    with pytest.raises(OutOfRangeError, match="today is 2026-06-01"):
        put_up(
            stock_face(agency),
            make_position(agency),
            installed_on=date(2026, 6, 2),
            now=evening,
        )


def test_a_face_made_in_a_month_that_is_known_only_as_such_may_go_up_within_it(agency):
    face = stock_face(agency, fabricated_on=date(2026, 6, 1), fabricated_precision="month")
    assert put_up(face, make_position(agency), installed_on=TODAY - DAY).state == "installed"


def test_a_face_does_not_go_up_while_an_earlier_one_still_stood_there(agency):
    old = make_sign(agency)
    position = position_of(old)
    remove_sign(sign=old, removed_on=TODAY - DAY, reason="stolen", now=NOW)
    with pytest.raises(StateConflictError, match="stood in this position until 2026-05-31, so"):
        put_up(stock_face(agency), position, installed_on=TODAY - 2 * DAY)
    assert put_up(stock_face(agency), position, installed_on=TODAY - DAY).state == "installed"


def test_a_face_put_up_today_is_not_taken_for_the_old_one(agency):
    old = make_sign(agency)
    position = position_of(old)
    first = put_up(stock_face(agency), position, removal_reason="aged")
    second = stock_face(agency)
    with pytest.raises(
        StateConflictError, match="If it came down again that day, say that this face replaces"
    ):
        put_up(second, position, removal_reason="aged")
    # The second crew meant the face that is gone.
    with pytest.raises(StateConflictError, match=f"was to replace {_(old)}, but {_(first)} st"):
        put_up(second, position, removal_reason="aged", replaces=old)
    # A crew that saw the first one knocked down the same day says so.
    put_up(second, position, removal_reason="knocked_down", replaces=first)
    assert list(position.signs.filter(state="installed")) == [second]


def test_a_face_that_is_to_replace_one_that_is_gone_is_refused(agency):
    old = make_sign(agency)
    remove_sign(sign=old, removed_on=TODAY - DAY, reason="stolen", now=NOW)
    with pytest.raises(StateConflictError, match="but no face stands there now"):
        put_up(stock_face(agency), position_of(old), removal_reason="stolen", replaces=old)


def test_a_face_does_not_replace_one_that_went_up_later(agency):
    later = make_sign(agency, installed_on=TODAY)
    with pytest.raises(StateConflictError, match=r"was put up at .* on 2026-06-01, so another"):
        put_up(
            stock_face(agency),
            position_of(later),
            installed_on=TODAY - DAY,
            removal_reason="aged",
            replaces=later,
        )


def _(sign: Sign) -> str:
    return str(sign).replace("(", r"\(").replace(")", r"\)")


# --- coming down


def test_a_face_comes_down_with_a_reason(agency):
    sign = make_sign(agency)
    removed = remove_sign(sign=sign, removed_on=TODAY, reason="knocked_down", now=NOW)
    assert (removed.state, removed.removed_on) == ("removed", TODAY)
    with pytest.raises(StateConflictError, match=r"already removed on 2026-06-01 \(knocked"):
        remove_sign(sign=sign, removed_on=TODAY, reason="stolen", now=NOW)


@pytest.mark.parametrize(
    ("removed_on", "reason", "error", "sentence"),
    [
        (TODAY + DAY, "aged", OutOfRangeError, "on 2026-06-02; today is 2026-06-01"),
        (date(2015, 4, 30), "aged", OutOfRangeError, "was put up on 2015-05-01 and cannot"),
        (TODAY, "", StateConflictError, "comes down: say why"),
        (TODAY, "ugly", OutOfRangeError, "'ugly' is no reason"),
    ],
)
def test_an_impossible_removal_is_refused(agency, removed_on, reason, error, sentence):
    sign = make_sign(agency)
    with pytest.raises(error, match=sentence):
        remove_sign(sign=sign, removed_on=removed_on, reason=reason, now=NOW)
    assert Sign.objects.get(pk=sign.pk).state == "installed"


def test_a_face_spoilt_at_the_shop_goes_back_into_the_queue(agency, shop):
    (face,) = print_for(agency, shop, make_sign(agency))
    order = PrintOrder.objects.get()
    assert order.state == "printed"
    with pytest.raises(OutOfRangeError, match="was made on 2026-06-01 and cannot"):
        remove_sign(sign=face, removed_on=TODAY - DAY, reason="damaged", now=NOW)
    remove_sign(sign=face, removed_on=TODAY, reason="damaged", note="dropped", now=NOW)
    order.refresh_from_db()
    assert order.state == "released"
    for party in (agency, shop):
        entry = LogbookEntry.objects.owned_by(party).get(verb="lose face")
        assert entry.text == f"Order {order.number} lost {face} before it was put up; released."
    assert LogbookEntry.objects.get(verb="remove sign").organisation == shop


# --- sent twice, and at once


def test_a_step_sent_twice_is_done_once(agency, shop):
    old = make_sign(agency)
    (face,) = print_for(agency, shop, old)
    for _time in range(2):
        put_up(face, position_of(old), removal_reason="aged")
    assert LogbookEntry.objects.filter(verb="install sign").count() == 1
    for _time in range(2):
        remove_sign(sign=face, removed_on=TODAY, reason="stolen", now=NOW)
    assert LogbookEntry.objects.filter(verb="remove sign", sign=face).count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_crews_at_one_position_one_wins():
    agency = make_agency()
    old = make_sign(agency)
    position = position_of(old)
    faces = [stock_face(agency), stock_face(agency)]
    outcomes = at_once(
        *(lambda face=face: put_up(face, position, removal_reason="aged") for face in faces)
    )
    lost = [each for each in outcomes if each is not None]
    assert [type(each) for each in lost] == [StateConflictError]
    winner = faces[outcomes.index(None)]
    assert list(position.signs.filter(state="installed")) == [winner]
    loser = next(face for face in faces if face != winner)
    assert Sign.objects.get(pk=loser.pk).state == "in_stock"


@pytest.mark.django_db(transaction=True)
def test_of_two_crews_with_one_face_one_puts_it_up():
    agency = make_agency()
    face = stock_face(agency)
    positions = [make_position(agency), make_position(agency)]
    outcomes = at_once(*(lambda place=place: put_up(face, place) for place in positions))
    lost = [each for each in outcomes if each is not None]
    assert [type(each) for each in lost] == [StateConflictError]
    assert Sign.objects.get(pk=face.pk).position == positions[outcomes.index(None)]


@pytest.mark.django_db(transaction=True)
def test_two_faces_of_one_order_put_up_at_once_close_it():
    agency = make_agency()
    shop = make_shop(agency=agency)
    old = [make_sign(agency), make_sign(agency)]
    faces = print_for(agency, shop, *old)
    outcomes = at_once(
        *(
            lambda face=face, sign=sign: put_up(face, position_of(sign), removal_reason="aged")
            for face, sign in zip(faces, old, strict=True)
        )
    )
    assert outcomes == [None, None]
    assert PrintOrder.objects.get().state == "closed"


def test_a_draft_is_not_touched_by_a_face_from_stock(agency, shop):
    old = make_sign(agency)
    order = draft_order(agency=agency, shop=shop, signs=[old], now=NOW).order
    put_up(stock_face(agency), position_of(old), removal_reason="aged")
    order.refresh_from_db()
    assert order.state == "draft"
    assert release_order(order=order, now=NOW).state == "released"

"""How faces are built: a shop's rules, the copy a line keeps, and what the press log says."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.engineering.production.builds import BuiltArea
from inventory.engineering.production.colouring import Colouring
from inventory.engineering.production.press_log import loaded_during
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import BuildRule, LogbookEntry
from inventory.services.ordering import add_line, draft_order, order_groups, release_order
from inventory.services.ordering.accepting import accept_order
from inventory.services.ordering.builds import BuildContent, set_build_rule
from inventory.services.production import (
    production_record,
    receive_overlay,
    record_press_event,
)
from inventory.services.production.build_doubts import run_doubts
from inventory.services.production.faces import frozen_build
from inventory.services.production.inks import set_channel
from inventory.services.production.what_was_on import logged_events
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
from tests.services.layouts.worlds import laid_out, make_world

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
RED_SPOT = BuiltArea("background", "red", Colouring.PRINTED_SPOT)
WHITE_BASE = BuiltArea("legend", "white", Colouring.SHEETING)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


def rule(shop, areas=(), *, kept=None, is_in_use=True, **content):
    said = {"sheeting_type": "XI", "base_color": "white", "overlay": "asked"} | content
    return set_build_rule(
        shop=shop,
        rule=kept,
        is_in_use=is_in_use,
        content=BuildContent(areas=areas, **said),
        now=NOW,
    )


def order_of(agency, shop, *codes):
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    for code in codes:
        add_line(
            order=order, sign_code=code, width_in=36, height_in=36, sheeting_type="XI", now=NOW
        )
    return release_order(order=order, now=NOW)


def accepted(order):
    return accept_order(order=order, promised_on=NOW.date(), now=NOW)


def event(press, kind, **fields):
    return record_press_event(
        press=press, kind=kind, happened_at=NOW - 2 * HOUR, now=NOW, **fields
    )


def ink(press, channel, color):
    event(press, "ink_changed", ink_channel=channel, ink_color=color, ink_lot="1")


def process_ink(press):
    """Put on an ink for mixing; of the other channel for one the log says nothing."""
    for name, color in (("1", "blue"), ("2", "yellow")):
        set_channel(press=press, name=name, color=color, kind="process", now=NOW)
    ink(press, "1", "blue")


def build_of(line):
    build = frozen_build(line)
    assert build is not None
    return build


# --- the rules


def test_a_rule_is_kept_with_its_colours_and_told_in_the_logbook(shop):
    kept = rule(
        shop,
        [RED_SPOT, WHITE_BASE],
        sign_code=" r1-1 ",
        overlay="with",
        blank_thickness_in=Decimal("0.080"),
        blank_holes="two on the axis",
    )
    assert str(kept) == "build of R1-1 on Type XI"
    told = LogbookEntry.objects.get(organisation=shop, verb="set build rule").text
    assert told == (
        "The build of R1-1 on Type XI: on white Type XI; red printed spot, white sheeting; "
        "with overlay; blank 0.080 in; holes: two on the axis."
    )


@pytest.mark.parametrize(
    ("areas", "content", "sentence"),
    [
        (
            [BuiltArea("background", "fluorescent-orange", Colouring.FILM)],
            {},
            "needs base sheeting of that colour, not white",
        ),
        ([RED_SPOT, RED_SPOT], {}, "has the red background twice"),
        ([WHITE_BASE], {"base_color": "yellow"}, "the base sheeting is yellow"),
        (
            [BuiltArea("legend", "white", Colouring.PRINTED_MIXED)],
            {"base_color": "yellow"},
            "White that returns light cannot be printed on yellow",
        ),
        (
            [BuiltArea("legend", "white", Colouring.PRINTED_SPOT)],
            {},
            "is the base sheeting's own colour",
        ),
        ([BuiltArea("edge", "red", Colouring.FILM)], {}, "which part it is"),
        ([], {"overlay": "perhaps"}, "'perhaps' says nothing of the overlay"),
        ([], {"base_color": "gold"}, "'gold' is no base sheeting colour"),
        ([], {"blank_thickness_in": Decimal(2)}, "over 0 to 1 in thick"),
        ([], {"blank_thickness_in": Decimal("0.08001")}, "up to four decimals"),
    ],
)
def test_what_cannot_be_built_is_refused(shop, areas, content, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        rule(shop, areas, **content)
    assert not BuildRule.objects.exists()


def test_one_rule_of_a_kind_is_in_use_and_only_a_shop_has_rules(agency, shop):
    first = rule(shop, sign_code="R1-1")
    with pytest.raises(StateConflictError, match="is in use already"):
        rule(shop, sign_code="r1-1")
    rule(shop, kept=first, sign_code="R1-1", is_in_use=False)
    second = rule(shop, sign_code="R1-1", overlay="with")
    with pytest.raises(StateConflictError, match="is in use already"):
        rule(shop, kept=BuildRule.objects.get(pk=first.pk), sign_code="R1-1")
    assert BuildRule.objects.get(is_in_use=True) == second
    with pytest.raises(StateConflictError, match="only a sign shop"):
        rule(agency)


# --- the copy a line keeps


def test_a_line_keeps_the_rule_of_its_code_before_one_for_any(agency, shop):
    rule(shop, [RED_SPOT], overlay="without")
    own = rule(shop, [RED_SPOT, WHITE_BASE], sign_code="R1-1", overlay="with")
    rule(shop, sign_code="R1-1", sheeting_type="IX")
    order = order_of(agency, shop, "R1-1", "R1-2")
    assert all(line.build is None for line in order.lines.all())
    accepted(order)
    stop, yield_line = order.lines.order_by("number")
    assert build_of(stop).words == (
        "on white Type XI; red printed spot, white sheeting; with overlay"
    )
    # A yield sign's red is its legend: the row for a red background is not its.
    assert build_of(yield_line).words == "on white Type XI; without overlay"
    assert (
        "2 lines built by the shop's rules."
        in LogbookEntry.objects.filter(organisation=agency, verb="accept order")
        .values_list("text", flat=True)
        .get()
    )
    rule(shop, kept=own, sign_code="R1-1", overlay="without")
    accept_order(order=order, promised_on=NOW.date() + timedelta(days=2), now=NOW)
    stop.refresh_from_db()
    assert build_of(stop).overlay == "with"


def test_without_a_rule_a_line_keeps_none(agency, shop):
    rule(shop, sign_code="R1-1", is_in_use=False)
    rule(make_shop(), sign_code="R1-1")
    order = order_of(agency, shop, "R1-1")
    accepted(order)
    assert order.lines.get().build is None


def test_the_base_sheeting_follows_the_rule_and_layouts_group_by_it(agency, shop):
    yellow = BuiltArea("background", "yellow", Colouring.SHEETING)
    black = BuiltArea("legend", "black", Colouring.OPAQUE)
    rule(shop, [yellow, black], sign_code="W2-1", base_color="yellow")
    order = order_of(agency, shop, "W2-1", "R1-1")
    assert {group.base_color for group in order_groups(order)} == {"white"}
    accepted(order)
    assert {group.base_color for group in order_groups(order)} == {"white", "yellow"}
    told = LogbookEntry.objects.get(organisation=shop, verb="accept order").text
    assert told.endswith("1 line built by the shop's rules (line 1 on yellow).")


def test_a_line_that_is_laid_out_or_printed_keeps_its_base_sheeting():
    world = make_world(signs=1)
    content = {"sign_code": "R1-1", "base_color": "red"}
    white_film = BuiltArea("legend", "white", Colouring.FILM)
    rule(world.shop, [white_film], **content)
    laid_out(world)
    accepted(world.order)
    line = world.order.lines.get()
    assert (line.base_color, build_of(line).base_color) == ("white", "red")

    agency = make_agency()
    shop = make_shop(agency=agency)
    rule(shop, [white_film], **content)
    order = make_released_order(agency, shop, [make_sign(agency)])
    run = print_order(order, make_press(shop, make_roll(shop)))
    order.refresh_from_db()
    accepted(order)
    assert order.lines.get().base_color == "white"
    told = "Line 1: The build says red base sheeting; by the press log it was white."
    assert doubts(run) == [told]


def test_a_rule_that_cannot_give_a_fluorescent_face_is_refused(agency, shop):
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    add_line(
        order=order,
        sign_code="W11-2",
        width_in=36,
        height_in=36,
        sheeting_type="XI",
        background_color="fluorescent-yellow-green",
        now=NOW,
    )
    order = release_order(order=order, now=NOW)
    rule(shop)
    own = rule(shop, sign_code="W11-2")
    with pytest.raises(StateConflictError, match="Line 1 cannot be built by your rule, the"):
        accepted(order)
    order.refresh_from_db()
    assert order.accepted_at is None
    rule(shop, kept=own, sign_code="W11-2", is_in_use=False)
    accepted(order)
    # The rule for any code has a white base: it does not fit, and the line keeps none.
    line = order.lines.get()
    assert (line.build, line.base_color) == (None, "fluorescent-yellow-green")


def test_a_base_that_is_not_white_is_a_colour_of_the_face(agency, shop):
    rule(shop, sign_code="W2-1", base_color="orange")
    with pytest.raises(StateConflictError, match="No colour of the face is orange"):
        accepted(order_of(agency, shop, "W2-1"))


# --- what the press log says


def doubts(run):
    spans = loaded_during(logged_events(run.press), run.started_at, run.finished_at)
    return run_doubts(run, run.layout.roll, spans)


def printed(agency, shop, areas, *, before=(), **content):
    """Return a run of one stop sign built by a rule, and what its red was made of."""
    rule(shop, areas, sign_code="R1-1", **content)
    order = make_released_order(agency, shop, [make_sign(agency)])
    accepted(order)
    press = make_press(shop, make_roll(shop))
    for step in before:
        step(press)
    run = print_order(order, press)
    return run, run.signs.get().colour_areas.get(color="red").colouring


def red_channel(press, name="1"):
    set_channel(press=press, name=name, color="red", kind="spot", now=NOW)


@pytest.mark.parametrize(
    ("makes_red", "before", "made_by", "told"),
    [
        ("printed_spot", [], "printed_spot", False),
        ("printed_spot", [lambda p: ink(p, "1", "red")], "printed_spot", False),
        # Another ink is on record, but not that of every channel: a red one may have been on.
        ("printed_spot", [lambda p: ink(p, "2", "blue")], "printed_spot", False),
        ("printed_spot", [process_ink], "", True),
        # A red channel the log says nothing of may have been on.
        ("printed_spot", [process_ink, lambda p: red_channel(p, "3")], "printed_spot", False),
        ("printed_spot", [red_channel, lambda p: ink(p, "1", "blue")], "", True),
        ("printed_mixed", [], "printed_mixed", False),
        ("film", [lambda p: ink(p, "1", "red")], "film", False),
    ],
)
def test_a_colour_is_made_as_built_unless_the_log_says_otherwise(
    agency, shop, makes_red, before, made_by, told
):
    areas = [BuiltArea("background", "red", Colouring(makes_red))]
    run, colouring = printed(agency, shop, areas, before=before)
    assert colouring == made_by
    assert bool(doubts(run)) is told
    record = production_record(run.signs.get())
    rows = dict(record.rows)
    assert rows["to be built"].startswith("on white Type XI; red")
    assert ("but look at" in rows) is told
    if told:
        assert "The build says red printed spot; the press log shows" in rows["but look at"]


def test_overlay_is_told_where_log_and_build_differ(agency, shop):
    film = receive_overlay(
        shop=shop, roll_number="1", lot="O", width_in=48, length_ft=100, now=NOW
    )
    steps = [
        lambda press: event(press, "overlay_loaded", overlay=film),
        lambda press: event(press, "overlay_taken_off", overlay=film),
    ]
    run, _ = printed(agency, shop, [], overlay="with")
    assert doubts(run) == []
    set_aside = BuildRule.objects.get()
    rule(shop, kept=set_aside, is_in_use=False)
    run, _ = printed(agency, shop, [], overlay="with", before=steps)
    assert doubts(run) == ["Line 1: The build says with overlay; by the press log none was on."]
    rule(shop, kept=BuildRule.objects.get(is_in_use=True), sign_code="R1-1", is_in_use=False)
    run, _ = printed(agency, shop, [], overlay="without", before=steps[:1])
    assert "without overlay; by the press log film was on." in doubts(run)[0]


def test_faces_follow_a_corrected_log_and_go_back_to_their_build(agency, shop):
    run, colouring = printed(agency, shop, [RED_SPOT], before=[process_ink])
    assert colouring == ""
    wrong = run.press.events.get(kind="ink_changed")
    record_press_event(
        press=run.press, kind="withdrawn", happened_at=NOW, corrects=wrong, now=NOW
    )
    assert run.signs.get().colour_areas.get(color="red").colouring == "printed_spot"
    assert doubts(run) == []

"""
Layouts: begun, searched for, changed by hand, frozen, printed from; nothing laid out twice.

Where faces lie is checked by shapely; lengths by arithmetic written beside them.
"""

from __future__ import annotations

import itertools
import threading
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from shapely.geometry import Polygon, box

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LaidPiece, LayoutPlan, LayoutRun, PlannedFace, Sign
from inventory.services.installation import remove_sign
from inventory.services.ordering.layouts.changing import (
    drop_plan,
    keep_in_place,
    leave_out,
    set_rank,
)
from inventory.services.ordering.layouts.freezing import freeze_plan, take_freeze_back
from inventory.services.ordering.layouts.looking import views_of
from inventory.services.ordering.layouts.making import (
    Asked,
    Rules,
    free_lines,
    make_plan,
    set_rules,
)
from inventory.services.ordering.layouts.solving import (
    SILENT_FOR,
    ask_to_stop,
    open_run,
    solve,
    start_solving,
)
from inventory.services.production import production_record, record_press_event
from inventory.services.production.laying_settings import set_press_measures, set_turns
from inventory.services.production.roll_lengths import rolls_left
from tests.factories import NOW, make_press, make_roll, make_shop
from tests.services.layouts.worlds import KIND, RULES, laid_out, make_world, print_load

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db):
    return make_world()


def polygons(plan):
    return {
        (piece.load_id, piece.face.number): Polygon(piece.corners_in)
        for piece in LaidPiece.objects.filter(face__plan=plan).select_related("face")
    }


def test_faces_lie_on_their_roll_with_margin_and_gap(world):
    plan = laid_out(world)
    # Six octagons of 30 in, one across a 36 in roll as across a 48 in one: 6 × 30 + 5 × 0.25
    # gap; a bleed of 0.125 at both ends, 6 in before and 12 in behind.
    (load,) = plan.loads.all()
    assert load.length_in == pytest.approx(6 * 30 + 5 * 0.25)
    assert load.taken_in == pytest.approx(181.25 + 0.25 + 18)
    # On the narrower roll less is wasted for the same length.
    assert load.roll == world.narrow
    laid = polygons(plan)
    assert len(laid) == 6
    room = box(0.5, 6.125, 36 - 0.5, load.taken_in - 12.125).buffer(1e-6, join_style="mitre")
    assert all(room.contains(each) for each in laid.values())
    for one, other in itertools.combinations(laid.values(), 2):
        assert one.distance(other) >= 0.25 - 1e-6
    (view,) = views_of(plan)
    area = sum(each.area for each in laid.values())
    assert view.figures.waste_ft2 == pytest.approx((load.taken_in * 36 - area) / 144)
    assert plan.faces.filter(load=load, not_laid_reason="").count() == 6


def test_a_longer_order_is_looked_at_in_as_many_queries(world):
    few = laid_out(world)
    more = laid_out(make_world(signs=12))
    counts = []
    for plan in (few, more):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            views_of(plan)
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 3


def test_turns_come_with_their_grounds_and_stay_as_they_were(world):
    before = laid_out(world)
    assert before.angles_deg == [0]
    set_turns(
        shop=world.shop,
        sheeting_type="XI",
        optics="prismatic",
        may_turn_45=False,
        may_turn_90=True,
        may_turn_180=False,
        basis="bulletin 7 (invented)",
        now=NOW,
    )
    assert LayoutPlan.objects.get(pk=before.pk).angles_deg == [0]
    after = set_rules(plan=before, rules=RULES, rolls=[world.roll])
    assert (after.angles_deg, after.turns_basis) == ([0, 90], "bulletin 7 (invented)")
    with pytest.raises(OutOfRangeError, match="on what grounds"):
        set_turns(
            shop=world.shop,
            sheeting_type="XI",
            optics="prismatic",
            may_turn_45=False,
            may_turn_90=True,
            may_turn_180=False,
            basis=" ",
            now=NOW,
        )


def test_what_is_not_stated_or_does_not_fit_is_refused(world):
    bare = make_press(world.shop)
    with pytest.raises(StateConflictError, match="how much of its width it prints"):
        make_plan(order=world.order, press=bare, rolls=[world.roll], rules=RULES, **KIND)
    other_shop = make_shop()
    for more, sentence in (
        ({"press": make_press(other_shop)}, "no press of"),
        ({"rolls": []}, "No roll is picked"),
        ({"rolls": [make_roll(world.shop, color="yellow")]}, "these faces are printed on"),
        ({"rolls": [make_roll(other_shop)]}, "these faces are printed on"),
        ({"base_color": "yellow"}, "these faces are printed on"),
        ({"rules": Rules(cutter="straight", gap_in=-1, edge_margin_in=0)}, "gap"),
        (
            {"rules": Rules(cutter="straight", gap_in=0, edge_margin_in=0, seconds=0)},
            "1 to 600",
        ),
        ({"asked": {world.order.lines.get(number=1).pk: Asked(2)}}, "1 of it are neither"),
        ({"asked": {world.order.lines.get(number=1).pk: Asked(1, 10)}}, "1 comes off first"),
        ({"asked": {}}, "no face to lay out"),
    ):
        asked = {"press": world.press, "rolls": [world.roll], "rules": RULES} | KIND | more
        with pytest.raises((OutOfRangeError, StateConflictError), match=sentence):
            make_plan(order=world.order, now=NOW, **asked)
    for value in (0, 55, float("nan")):
        with pytest.raises(OutOfRangeError, match="54 in"):
            set_press_measures(
                press=world.press, printable_width_in=value, lead_in_in=0, tail_in=0
            )
    assert not LayoutPlan.objects.exists()


def test_a_face_wider_than_every_roll_is_said_and_not_dropped(world):
    world.order.lines.filter(number=1).update(width_in=60, height_in=60, shape="rectangle")
    plan = laid_out(world, rolls=[world.roll])
    left = plan.faces.get(line__number=1)
    assert left.load is None
    assert "48" in left.not_laid_reason
    spliced = set_rules(
        plan=plan, rules=Rules(**RULES.__dict__ | {"overlap_in": 0.0}), rolls=[world.roll]
    )
    solve(open_run(plan=spliced))
    halves = LaidPiece.objects.filter(face__plan=plan, face__line__number=1)
    assert [(half.part, half.parts) for half in halves.order_by("part")] == [(1, 2), (2, 2)]
    assert len({half.load_id for half in halves}) == 1


def test_faces_kept_in_place_stay_and_those_left_out_go(world):
    plan = laid_out(world, rolls=[world.roll])
    kept = PlannedFace.objects.filter(plan=plan).order_by("pieces__along_in")[0]
    where = kept.pieces.get().corners_in
    assert keep_in_place(plan=plan, numbers=[kept.number]) == 1
    other = next(n for n in range(1, 7) if n != kept.number)
    assert leave_out(plan=plan, numbers=[other]) == 1
    assert not LaidPiece.objects.filter(face__plan=plan, face__number=other).exists()
    solve(open_run(plan=plan))
    again = plan.faces.get(number=kept.number).pieces.get()
    assert again.is_pinned
    assert Polygon(again.corners_in).equals_exact(Polygon(where), 1e-5)
    assert plan.faces.get(number=other).load is None
    leave_out(plan=plan, numbers=[other], is_out=False)
    solve(open_run(plan=plan))
    assert plan.faces.filter(load__isnull=False).count() == 6
    keep_in_place(plan=plan, numbers=[kept.number], is_kept=False)
    assert not LaidPiece.objects.filter(face__plan=plan, is_pinned=True).exists()
    with pytest.raises(OutOfRangeError, match="no face 99"):
        leave_out(plan=plan, numbers=[99])
    with pytest.raises(OutOfRangeError, match="No face is picked"):
        keep_in_place(plan=plan, numbers=[])


def test_urgent_faces_come_off_first(world):
    plan = laid_out(world)
    set_rank(plan=plan, numbers=[1, 2, 3, 4], due_rank=2)
    solve(open_run(plan=plan))
    ends = {number: polygon.bounds[3] for (_, number), polygon in polygons(plan).items()}
    assert max(ends[5], ends[6]) < min(ends[n] for n in (1, 2, 3, 4))
    with pytest.raises(OutOfRangeError, match="1 to 9"):
        set_rank(plan=plan, numbers=[1], due_rank=0)


def test_a_frozen_layout_speaks_for_its_faces_and_its_roll(world):
    plan = laid_out(world)
    rival = laid_out(world)
    freeze_plan(plan=plan, now=NOW)
    assert free_lines(world.order, **KIND) == []
    left = rolls_left([world.narrow])[world.narrow.pk]
    assert left.laid_out_ft == pytest.approx(plan.loads.get().taken_in / 12)
    assert left.free_ft == pytest.approx(50 - left.laid_out_ft)
    with pytest.raises(StateConflictError, match="only 0 are neither printed nor in a frozen"):
        freeze_plan(plan=rival, now=NOW)
    for change in (
        lambda: leave_out(plan=plan, numbers=[1]),
        lambda: set_rules(plan=plan, rules=RULES, rolls=[world.roll]),
        lambda: open_run(plan=plan),
        lambda: drop_plan(plan=plan),
    ):
        with pytest.raises(StateConflictError, match="take the freeze back first"):
            change()
    with pytest.raises(OutOfRangeError, match="Say why"):
        take_freeze_back(plan=plan, reason=" ")
    take_freeze_back(plan=plan, reason="another roll came in", now=NOW)
    freeze_plan(plan=rival, now=NOW)
    drop_plan(plan=plan, now=NOW)
    with pytest.raises(StateConflictError, match="make a new one"):
        open_run(plan=plan)


def test_a_roll_that_is_shorter_by_now_is_not_frozen_on(world):
    plan = laid_out(world)
    record_press_event(
        press=world.press,
        kind="roll_taken_off",
        roll=world.roll,
        remaining_ft=100.0,
        happened_at=NOW - timedelta(hours=2),
        now=NOW,
    )
    record_press_event(
        press=world.press,
        kind="roll_loaded",
        roll=world.narrow,
        happened_at=NOW - timedelta(hours=1),
        now=NOW,
    )
    record_press_event(
        press=world.press,
        kind="roll_taken_off",
        roll=world.narrow,
        remaining_ft=10.0,
        happened_at=NOW - timedelta(minutes=50),
        now=NOW,
    )
    assert rolls_left([world.roll, world.narrow])[world.narrow.pk].left_ft == 10.0
    with pytest.raises(StateConflictError, match=r"10\.0 ft are free now"):
        freeze_plan(plan=plan, now=NOW)


def test_a_run_prints_a_frozen_load_in_order_along_the_roll(world):
    plan = freeze_plan(plan=laid_out(world), now=NOW)
    load = plan.loads.get()
    along = list(
        plan.faces.order_by("pieces__along_in", "pieces__across_in").values_list(
            "number", flat=True
        )
    )
    spoilt = along[2]
    run = print_load(world, load, not_printed=[spoilt])
    assert run.roll_length_used_ft == pytest.approx(load.taken_in / 12)
    printed = PlannedFace.objects.filter(plan=plan, printed_as__isnull=False).order_by(
        "printed_as__sign__print_number"
    )
    assert [face.number for face in printed] == [n for n in along if n != spoilt]
    sign = printed[0].printed_as.sign
    record = production_record(sign)
    # 6 in lost before the first face and 0.125 in of bleed: 6.125 in are 0.5 ft; the margin.
    assert record.place_words == "0.5 ft from the start of the load, 0.5 in from the edge"
    assert ("place on the roll", record.place_words) in record.rows
    # What was not printed is free again, and its length is used.
    (free,) = free_lines(world.order, **KIND)
    assert (free.line, free.free) == (plan.faces.get(number=spoilt).line, 1)
    left = rolls_left([world.narrow])[world.narrow.pk]
    assert left.laid_out_ft == 0
    assert left.left_ft == pytest.approx(50 - load.taken_in / 12)
    with pytest.raises(StateConflictError, match="printed already"):
        print_load(world, load, minutes=90)
    with pytest.raises(StateConflictError, match="stays frozen"):
        take_freeze_back(plan=plan, reason="too late")
    # A face spoilt later goes back into the queue.
    remove_sign(sign=sign, reason="damaged", removed_on=NOW.date(), now=NOW)
    assert sum(each.free for each in free_lines(world.order, **KIND)) == 2


def test_a_load_is_printed_on_its_own_roll_and_only_when_frozen(world):
    plan = laid_out(world)
    load = plan.loads.get()
    with pytest.raises(StateConflictError, match="freeze the layout"):
        print_load(world, load)
    freeze_plan(plan=plan, now=NOW)
    with pytest.raises(StateConflictError, match="was on the press then"):
        print_load(world, load, roll=world.roll)
    with pytest.raises(OutOfRangeError, match="printed no face"):
        print_load(world, plan.loads.get(), minutes=200, not_printed=range(1, 7))
    with pytest.raises(OutOfRangeError, match="is not on this roll"):
        print_load(world, plan.loads.get(), minutes=300, not_printed=[99])
    assert not Sign.objects.filter(print_run__isnull=False).exists()


def test_a_search_is_stopped_taken_over_and_closed_whatever_happens(world):
    plan = make_plan(
        order=world.order, press=world.press, rolls=[world.roll], rules=RULES, now=NOW, **KIND
    )
    run = open_run(plan=plan)
    with pytest.raises(StateConflictError, match="being searched for since"):
        open_run(plan=plan)
    with pytest.raises(StateConflictError, match="wait for it, or stop it"):
        freeze_plan(plan=plan)
    ask_to_stop(run=run)
    solve(run)
    assert plan.faces.filter(load__isnull=False).count() == 6  # stopped at once, and laid
    dead = open_run(plan=plan)
    LayoutRun.objects.filter(pk=dead.pk).update(seen_at=dead.seen_at - 2 * SILENT_FOR)
    second = open_run(plan=plan)
    dead.refresh_from_db()
    assert dead.error == "It was broken off."
    with pytest.raises(StateConflictError, match="taken over"):
        solve(dead)
    solve(second)
    LaidPiece.objects.filter(face__plan=plan).update(is_pinned=True, across_in=-5)
    broken = open_run(plan=plan)
    with pytest.raises(OutOfRangeError):
        solve(broken)
    broken.refresh_from_db()
    assert broken.finished_at is not None
    assert broken.error


@pytest.mark.django_db(transaction=True)
def test_a_search_in_its_own_process_begins_after_the_commit(monkeypatch):
    world = make_world(signs=1)
    started = []
    monkeypatch.setattr(
        "inventory.services.ordering.layouts.solving.subprocess.Popen",
        lambda command, **_: started.append((command[-3:], LayoutRun.objects.count())),
    )
    plan = make_plan(
        order=world.order, press=world.press, rolls=[world.roll], rules=RULES, now=NOW, **KIND
    )
    run = start_solving(plan=plan)
    assert started == [(["lay_out", "--run", str(run.pk)], 1)]


@pytest.mark.django_db(transaction=True)
def test_of_two_people_freezing_the_same_faces_one_succeeds():
    world = make_world(signs=2)
    plans = [laid_out(world), laid_out(world)]
    barrier = threading.Barrier(2)
    said: list[str] = []

    def freeze(plan):
        try:
            barrier.wait(timeout=20)
            freeze_plan(plan=plan, now=NOW)
            said.append("frozen")
        except StateConflictError as error:
            said.append(str(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=freeze, args=(plan,)) for plan in plans]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(each == "frozen" for each in said) == [False, True]
    assert LayoutPlan.objects.filter(state="frozen").count() == 1

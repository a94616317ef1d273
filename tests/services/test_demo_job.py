"""The main job on the scenario: once round, told in words, and never done twice."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from django.conf import settings
from django.db import transaction

from inventory.models import (
    Assessment,
    ImportRun,
    LogbookEntry,
    PackageStop,
    PressEvent,
    PrintOrder,
    PrintRun,
    SheetingRoll,
    Sign,
    SourceRecord,
    Standing,
    User,
    WorkPackage,
)
from inventory.services.demo.load import LoadResult, load_scenario
from inventory.services.demo.main_job import run_main_job
from inventory.services.demo.press_history import moment
from inventory.services.demo.words import fixtures_directory, words
from inventory.services.field.area import carry_page, supports_of_package
from inventory.services.ordering import cancel_order, order_groups
from inventory.services.production import loaded_at
from inventory.services.shop_board import board
from inventory.services.work_packages import record_stop
from tests.services.test_demo import StoppedError

if TYPE_CHECKING:
    from collections.abc import Iterator

JOB = words("scenario")["job"]
TODAY = date(2026, 11, 25)
STEPS = ["import", "judge", "due list", "order", "print", "install", "next order", "package"]


@pytest.fixture(scope="module")
def county(django_db_setup, django_db_blocker) -> Iterator[LoadResult]:
    """Load the scenario once; each test works on it and takes back what it did."""
    with (
        pytest.MonkeyPatch.context() as patch,
        django_db_blocker.unblock(),
        transaction.atomic(),
    ):
        patch.setattr(settings, "IS_DEMO", True)
        patch.setattr("inventory.services.demo.plan.PHOTO_COUNT", 0)
        yield load_scenario(size=0.2)
        transaction.set_rollback(True)


@pytest.fixture
def loaded(county: LoadResult, db) -> LoadResult:
    return county


def run(say=None, today=TODAY):
    # The list is read where files are read: above the services.
    from inventory.interchange.sign_lists import read_sign_list

    mapping = (fixtures_directory() / JOB["list_mapping"]).read_text(encoding="utf-8")
    source = read_sign_list(
        fixtures_directory() / JOB["list_file"], mapping, today=JOB["desk_day"]
    )
    told: list[str] = []

    def listen(text: str) -> None:
        told.append(text)
        if say is not None:
            say(text)

    result = run_main_job(source=source, say=listen, progress=lambda *_done: None, today=today)
    return result, told


def summary() -> dict[str, object]:
    """Return what the job leaves behind, in numbers."""
    order = PrintOrder.objects.filter(title=JOB["order_title"])
    return {
        "records": SourceRecord.objects.count(),
        "imports": ImportRun.objects.values_list("state", "created_count", "refused_count")[0],
        "next order": list(
            PrintOrder.objects.filter(title=JOB["next_order"]["title"])
            .values_list("state", "lines__sign_code")
            .order_by("lines__number")
        ),
        "orders": list(
            order.values_list("state", "lines__sign_code").order_by("lines__number")
        ),
        "runs": list(PrintRun.objects.values_list("run_number", "printed_area_ft2")),
        "rolls on": PressEvent.objects.filter(kind="roll_loaded").count(),
        "up": Sign.objects.filter(state="installed").count(),
        "in stock": Sign.objects.filter(state="in_stock").count(),
        "down": Sign.objects.filter(state="removed").count(),
        "package": list(
            PackageStop.objects.values_list(
                "package__title",
                "package__state",
                "number",
                "position__sign_code",
                "position__support__latitude_deg",
                "position__support__longitude_deg",
                "task",
            )
        ),
        "due": list(Standing.objects.filter(is_due=True).values_list("due_order", "verdict")),
        "judged": Assessment.objects.values("sign").distinct().count(),
    }


def test_the_job_goes_once_round(loaded):
    up = Sign.objects.filter(owner=loaded.agency, state="installed").count()
    result, told = run()
    assert result.done == STEPS
    assert result.not_done == []
    assert [text.split(":")[0] for text in told if text.startswith("Step")] == [
        f"Step {number} of 9" for number in range(1, 10)
    ]

    # List: every row ends in exactly one of four counts.
    imported = ImportRun.objects.get()
    assert imported.state == ImportRun.State.FINISHED
    assert imported.row_count == 41
    assert (imported.created_count, imported.refused_count) == (38, 3)

    # Verdicts: every sign that is up has one, and a standing.
    standing = Sign.objects.filter(owner=loaded.agency, state="installed")
    assert standing.count() == up + 39
    assert not standing.filter(standing__isnull=True).exists()
    assert sum(result.verdicts.values()) == standing.count()

    # Order, run and faces.
    order = PrintOrder.objects.get(title=JOB["order_title"])
    lines = order.lines.count()
    faces = Sign.objects.filter(layout_face__layout__order=order)
    assert 0 < lines <= JOB["order_size"]
    assert faces.count() == lines
    wanted = min(JOB["install_count"], lines)
    assert faces.filter(state="installed").count() == wanted
    for face in faces.filter(state="installed"):
        old = face.layout_face.line.replaces
        assert old.state == Sign.State.REMOVED
        assert old.removal_reason
        assert old.removed_on == face.installed_on == JOB["road_day"]
        assert face.position == old.position
        assert face.print_run.layout.order == order

    # What was due and got a new face is not due any more; nothing else changed.
    assert result.due_after == result.due_before - wanted


def test_an_order_is_left_for_the_shop_on_more_than_one_sheeting(loaded):
    run()
    order = PrintOrder.objects.get(title=JOB["next_order"]["title"])
    assert order.state == PrintOrder.State.RELEASED
    assert 0 < order.lines.count() <= JOB["next_order"]["size"]
    assert not order.lines.filter(faces__isnull=False).exists()
    # Nothing is ordered twice, and every face replaces one that is due.
    earlier = PrintOrder.objects.get(title=JOB["order_title"])
    places = set(order.lines.values_list("position", flat=True))
    assert places.isdisjoint(earlier.lines.values_list("position", flat=True))
    replaced = order.lines.values_list("replaces__standing__is_due", flat=True)
    assert set(replaced) == {True}
    waiting = board(shop=loaded.shop, today=JOB["next_order"]["needed_by_on"] + timedelta(1))
    assert waiting.faces == order.lines.count()
    assert waiting.late == [order]


def test_the_crew_has_its_next_day_on_the_phone(loaded):
    run()
    package = WorkPackage.objects.get()
    assert (package.state, package.work_on) == ("handed_out", TODAY)
    assert package.crew == User.objects.get(username="crew")
    tasks = list(package.stops.order_by("number").values_list("task", flat=True))
    assert set(tasks) == {"replace", "repair", "read"}
    # A face goes up where it was ordered for, and it is there to be taken along.
    for stop in package.stops.filter(task="replace"):
        label = stop.note.split()[1]
        face = Sign.objects.get(label_id=label)
        assert (face.state, face.layout_face.line.position) == ("in_stock", stop.position)
    asked = supports_of_package(package=package, page=1)
    carried = carry_page(
        organisation=loaded.agency, asked=asked, now=moment(package.work_on, 8)
    )
    assert [each["number"] for each in carried["stops"]] == list(range(1, len(tasks) + 1))
    assert len(carried["signs"]) > len(tasks)


def test_the_crews_day_moves_on_until_the_crew_begins_it(loaded):
    run()
    later, latest = TODAY + timedelta(days=3), TODAY + timedelta(days=4)
    result, told = run(today=later)
    assert result.done == []
    assert any(f"with the crew for {later}" in text for text in told)
    package = WorkPackage.objects.get()
    assert package.work_on == later
    record_stop(stop=package.stops.get(number=1), outcome="done", by=package.crew)
    run(today=latest)
    assert WorkPackage.objects.get().work_on == later


def test_a_second_run_repeats_nothing(loaded):
    run()
    before, entries = summary(), LogbookEntry.objects.count()
    result, told = run()
    assert result.done == []
    assert result.already_done == STEPS
    assert sum("Already done" in text for text in told) == len(STEPS)
    assert summary() == before
    assert LogbookEntry.objects.count() == entries


def test_two_counties_of_one_seed_come_to_the_same(loaded):
    summaries = []
    for _ in range(2):
        with transaction.atomic():
            run()
            summaries.append(summary())
            transaction.set_rollback(True)
    assert summaries[0] == summaries[1]


@pytest.mark.parametrize(
    "when",
    [
        "Step 2",
        "Step 3",
        "Step 4",
        "    Order ",
        "    Loaded on",
        "    Run ",
        "Step 6",
        "Step 7",
        "Step 8",
        "Step 9",
    ],
)
def test_a_job_that_was_broken_off_goes_on(loaded, when):
    def stop(text: str) -> None:
        if text.startswith(when):
            raise StoppedError

    with pytest.raises(StoppedError):
        run(stop)
    result, _told = run()
    assert result.not_done == []
    broken_off = summary()
    order = PrintOrder.objects.get(title=JOB["order_title"])
    faces = Sign.objects.filter(layout_face__layout__order=order)
    assert faces.count() == order.lines.count()
    assert faces.filter(state="installed").count() == min(
        JOB["install_count"], order.lines.count()
    )
    # Whatever was broken off: one run for each sheeting, on a roll loaded once and taken off.
    groups = len(order_groups(order))
    assert PrintRun.objects.filter(layout__order=order).count() == groups
    at_the_press = PressEvent.objects.filter(happened_at__gte=moment(JOB["press_day"], 0))
    assert at_the_press.filter(kind="roll_loaded").count() == groups
    assert at_the_press.filter(kind="roll_taken_off").count() == groups
    run()
    assert summary() == broken_off


def test_faces_are_put_up_one_by_one_after_a_stop(loaded):
    seen = []

    def stop(step: str, done: int, _total: int) -> None:
        if step == "faces":
            seen.append(done)
            if done == 3:
                raise StoppedError

    from inventory.interchange.sign_lists import read_sign_list

    mapping = (fixtures_directory() / JOB["list_mapping"]).read_text(encoding="utf-8")
    source = read_sign_list(
        fixtures_directory() / JOB["list_file"], mapping, today=JOB["desk_day"]
    )
    with pytest.raises(StoppedError):
        run_main_job(source=source, say=lambda _text: None, progress=stop, today=TODAY)
    result, _told = run()
    assert result.done == ["install", "next order", "package"]
    order = PrintOrder.objects.get(title=JOB["order_title"])
    up = Sign.objects.filter(layout_face__layout__order=order, state="installed")
    assert up.count() == min(JOB["install_count"], order.lines.count())


def test_an_order_that_somebody_cancelled_is_left_at_that(loaded):
    def stop(text: str) -> None:
        if text.startswith("Step 5"):
            raise StoppedError

    with pytest.raises(StoppedError):
        run(stop)
    order = PrintOrder.objects.get(title=JOB["order_title"])
    cancel_order(order=order, reason="not wanted", now=moment(JOB["desk_day"], 15))
    result, told = run()
    assert any("cancelled by somebody" in text for text in told)
    assert result.not_done == ["print", "install"]
    assert PrintOrder.objects.filter(title=JOB["order_title"]).count() == 1


def test_what_stands_in_the_way_is_told_and_goes_on_once_it_is_gone(loaded):
    white = SheetingRoll.objects.filter(sheeting_type="XI", color="white")
    white.update(sheeting_type="IX")
    result, told = run()
    assert result.done[:4] == ["import", "judge", "due list", "order"]
    assert "print" in result.not_done
    assert any("has no roll of white Type XI" in text for text in told)
    SheetingRoll.objects.filter(sheeting_type="IX").update(sheeting_type="XI")
    result, _told = run()
    assert result.not_done == []
    assert "print" in result.done
    assert PrintOrder.objects.get(title=JOB["order_title"]).state != PrintOrder.State.RELEASED


def test_each_run_is_on_the_roll_the_log_says_and_the_press_is_left_empty(loaded):
    run()
    order = PrintOrder.objects.get(title=JOB["order_title"])
    runs = PrintRun.objects.filter(layout__order=order).select_related("press", "layout__roll")
    assert runs
    for each in runs:
        assert loaded_at(each.press, each.started_at).roll == each.layout.roll
        assert loaded_at(each.press, moment(JOB["road_day"], 0)).roll is None

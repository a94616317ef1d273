from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.production.press_log import (
    Loaded,
    LoadedInk,
    LoggedEvent,
    PressEventKind,
    WrongTakingOff,
    events_that_hold,
    loaded_at,
    loaded_during,
    spans_in_each,
    taken_off_without_being_on,
)
from inventory.errors import OutOfRangeError

Kind = PressEventKind


def at(hour: float) -> datetime:
    return datetime(2026, 5, 4, tzinfo=UTC) + timedelta(hours=hour)


def event(key: int, kind: Kind, hour: float, **fields) -> LoggedEvent:
    return LoggedEvent(key=key, kind=kind, happened_at=at(hour), **fields)


def roll_on(key: int, hour: float, roll: int, **fields) -> LoggedEvent:
    return event(key, Kind.ROLL_LOADED, hour, roll=roll, **fields)


def test_before_the_first_event_nothing_is_known():
    assert loaded_at([roll_on(1, 8, 7)], at(7)) == Loaded()
    assert not loaded_at([], at(7)).is_roll_known


def test_a_roll_is_on_from_its_very_moment_until_it_is_taken_off():
    log = [roll_on(1, 8, 7), event(2, Kind.ROLL_TAKEN_OFF, 10, roll=7)]
    assert loaded_at(log, at(8)).roll == 7
    assert loaded_at(log, at(10) - timedelta(seconds=1)).roll == 7
    gone = loaded_at(log, at(10))
    assert gone.roll is None
    assert gone.is_roll_known


def test_loading_the_next_roll_ends_the_one_before():
    log = [roll_on(1, 8, 7), roll_on(2, 9, 8)]
    assert loaded_at(log, at(9)).roll == 8


def test_the_order_in_which_the_log_is_given_does_not_matter():
    log = [roll_on(2, 9, 8), event(3, Kind.ROLL_TAKEN_OFF, 10, roll=8), roll_on(1, 8, 7)]
    assert loaded_at(log, at(9.5)).roll == 8


def test_of_two_events_at_one_moment_the_later_written_holds():
    log = [roll_on(1, 8, 7), roll_on(2, 8, 8)]
    assert loaded_at(log, at(8)).roll == 8


def test_each_channel_keeps_its_own_ink():
    log = [
        event(1, Kind.INK_CHANGED, 8, ink_channel="1", ink_color="red", ink_lot="R-1"),
        event(2, Kind.INK_CHANGED, 8, ink_channel="2", ink_color="black", ink_lot="K-1"),
        event(3, Kind.INK_CHANGED, 9, ink_channel="1", ink_color="red", ink_lot="R-2"),
    ]
    assert loaded_at(log, at(9)).inks == {
        "1": LoadedInk("red", "R-2"),
        "2": LoadedInk("black", "K-1"),
    }


def test_an_overlay_taken_off_is_known_to_be_off():
    log = [
        event(1, Kind.OVERLAY_LOADED, 8, overlay=3),
        event(2, Kind.OVERLAY_TAKEN_OFF, 9, overlay=3),
    ]
    assert not loaded_at(log, at(7)).is_overlay_known
    assert loaded_at(log, at(8)).overlay == 3
    off = loaded_at(log, at(9))
    assert (off.overlay, off.is_overlay_known) == (None, True)


def test_maintenance_and_checks_change_nothing_that_is_loaded():
    log = [roll_on(1, 8, 7)]
    before = loaded_at(log, at(12))
    for key, kind in enumerate(
        (Kind.MAINTENANCE_DONE, Kind.CHECK_PASSED, Kind.CHECK_FAILED), start=2
    ):
        log.append(event(key, kind, 9))
    assert loaded_at(log, at(12)) == before


def test_a_correction_takes_the_place_of_what_it_corrects():
    log = [roll_on(1, 8, 7), roll_on(2, 8.5, 9, corrects=1)]
    assert not loaded_at(log, at(8.25)).is_roll_known
    assert loaded_at(log, at(9)).roll == 9


def test_a_correction_can_itself_be_corrected():
    log = [roll_on(1, 8, 7), roll_on(2, 8, 9, corrects=1), roll_on(3, 8, 7, corrects=2)]
    assert [each.key for each in events_that_hold(log)] == [3]


def test_of_two_corrections_of_one_event_the_later_written_holds():
    log = [roll_on(1, 8, 7), roll_on(2, 8, 9, corrects=1), roll_on(3, 8, 11, corrects=1)]
    assert loaded_at(log, at(8)).roll == 11


def test_a_withdrawn_event_never_happened():
    log = [roll_on(1, 8, 7), roll_on(2, 9, 8), event(3, Kind.WITHDRAWN, 9, corrects=2)]
    assert loaded_at(log, at(10)).roll == 7


def test_a_correction_of_nothing_in_the_log_is_refused():
    with pytest.raises(OutOfRangeError, match="corrects event 9, which is not before it"):
        loaded_at([roll_on(1, 8, 7, corrects=9)], at(9))


def test_a_correction_written_before_what_it_corrects_is_refused():
    with pytest.raises(OutOfRangeError, match="Event 1 of the press log corrects event 2"):
        events_that_hold([roll_on(1, 8, 7, corrects=2), roll_on(2, 8, 7)])


def test_a_time_without_a_zone_is_refused():
    naive = at(8).replace(tzinfo=None)
    with pytest.raises(OutOfRangeError, match="2026-05-04 08:00 has no time zone"):
        loaded_at([], naive)
    log = [LoggedEvent(key=1, kind=Kind.ROLL_LOADED, happened_at=naive, roll=7)]
    with pytest.raises(OutOfRangeError, match="Event 1 of the press log has a time without"):
        loaded_at(log, at(8))


def test_times_of_other_zones_are_the_same_moments():
    zone = timezone(timedelta(hours=-6))
    log = [roll_on(1, 8, 7)]
    assert loaded_at(log, at(8).astimezone(zone)).roll == 7


def test_a_run_through_which_nothing_changed_is_one_span():
    log = [roll_on(1, 8, 7), roll_on(2, 11, 8)]
    (span,) = loaded_during(log, at(9), at(11))
    assert (span.started_at, span.finished_at, span.loaded.roll) == (at(9), at(11), 7)


def test_a_container_changed_in_mid_run_splits_it():
    log = [
        roll_on(1, 8, 7),
        event(2, Kind.INK_CHANGED, 8, ink_channel="1", ink_color="red", ink_lot="R-1"),
        event(3, Kind.INK_CHANGED, 10, ink_channel="1", ink_color="red", ink_lot="R-2"),
    ]
    spans = loaded_during(log, at(9), at(11))
    assert [span.loaded.inks["1"].lot for span in spans] == ["R-1", "R-2"]
    assert spans[0].finished_at == spans[1].started_at == at(10)


def test_an_event_that_changes_nothing_does_not_split_a_run():
    log = [roll_on(1, 8, 7), event(2, Kind.CHECK_PASSED, 9.5), roll_on(3, 10, 7)]
    assert len(loaded_during(log, at(9), at(11))) == 1


@pytest.mark.parametrize("finish", [9, 8])
def test_a_run_that_ends_before_it_starts_is_refused(finish):
    with pytest.raises(OutOfRangeError, match="the start has to be before the end"):
        loaded_during([], at(9), at(finish))


def test_taking_off_another_roll_than_the_one_on_does_not_make_sense():
    log = [roll_on(1, 8, 7), event(2, Kind.ROLL_TAKEN_OFF, 9, roll=8)]
    assert taken_off_without_being_on(log) == (WrongTakingOff(2, 7),)
    twice = [
        roll_on(1, 8, 7),
        event(2, Kind.ROLL_TAKEN_OFF, 9, roll=7),
        event(3, Kind.ROLL_TAKEN_OFF, 10, roll=7),
        event(4, Kind.OVERLAY_LOADED, 10, overlay=1),
        event(5, Kind.OVERLAY_TAKEN_OFF, 11, overlay=2),
    ]
    assert taken_off_without_being_on(twice) == (
        WrongTakingOff(3, None),
        WrongTakingOff(5, 1),
    )


def test_what_was_on_before_the_log_began_may_be_taken_off():
    log = [
        event(1, Kind.ROLL_TAKEN_OFF, 8, roll=7),
        event(2, Kind.OVERLAY_TAKEN_OFF, 8, overlay=1),
    ]
    assert taken_off_without_being_on(log) == ()


@st.composite
def logs(draw):
    """A log of loads, takings-off, ink changes and corrections within one day."""
    log: list[LoggedEvent] = []
    for key in range(1, draw(st.integers(0, 12)) + 1):
        kind = draw(st.sampled_from(list(Kind)))
        corrects = draw(st.sampled_from([None, *range(1, key)]))
        log.append(
            event(
                key,
                kind,
                draw(st.integers(0, 24)),
                roll=draw(st.integers(1, 3)),
                overlay=draw(st.integers(1, 3)),
                ink_channel=draw(st.sampled_from("12")),
                ink_lot=draw(st.sampled_from("ABC")),
                corrects=corrects,
            )
        )
    return log


@given(logs(), st.integers(0, 22), st.integers(1, 24))
def test_the_spans_of_a_run_cover_it_and_agree_with_every_moment_in_them(log, start, length):
    begin, end = at(start), at(start + length)
    spans = loaded_during(log, begin, end)
    assert spans[0].started_at == begin
    assert spans[-1].finished_at == end
    for before, after in pairwise(spans):
        assert before.finished_at == after.started_at
        assert before.loaded != after.loaded
    for span in spans:
        assert span.started_at < span.finished_at
        middle = span.started_at + (span.finished_at - span.started_at) / 2
        last = span.finished_at - timedelta(seconds=1)
        for moment in (span.started_at, middle, last):
            assert loaded_at(log, moment) == span.loaded


@given(logs())
def test_what_holds_is_one_event_of_each_chain_of_corrections(log):
    held = events_that_hold(log)
    originals = [each for each in log if each.corrects is None]
    assert len(held) <= len(originals)
    assert list(held) == sorted(held, key=lambda each: (each.happened_at, each.key))
    corrected = {each.corrects for each in log}
    assert all(each.key not in corrected or each.corrects is not None for each in held)


def test_the_example_of_the_methods_page_comes_out():
    # docs/methods/production.md: rolls A (1) and B (2), an ink changed at 10:00.
    log = [
        roll_on(1, 8, 1),
        event(2, Kind.INK_CHANGED, 10, ink_channel="1", ink_color="red", ink_lot="R-2"),
        roll_on(3, 8.5, 2, corrects=1),
    ]
    assert not loaded_at(log, at(8.25)).is_roll_known
    assert loaded_at(log, at(9)).roll == 2
    assert len(loaded_during(log, at(9), at(11))) == 2


def test_many_stretches_are_split_as_each_by_itself():
    start = datetime(2026, 5, 4, tzinfo=UTC)
    log = [
        LoggedEvent(
            key=key,
            kind=PressEventKind.INK_CHANGED,
            happened_at=start + timedelta(minutes=key * 137 % 600),
            ink_channel="RY"[key % 2],
            ink_lot="ABC"[key * 7 % 5 % 3],
        )
        for key in range(1, 60)
    ]
    stretches = [
        (start + timedelta(minutes=at), start + timedelta(minutes=at + 1 + at * 13 % 89))
        for at in range(0, 600, 20)
    ]
    for (begin, end), spans in zip(stretches, spans_in_each(log, stretches), strict=True):
        assert [spans[0].started_at, spans[-1].finished_at] == [begin, end]
        for span, following in pairwise(spans):
            assert span.finished_at == following.started_at
            assert span.loaded != following.loaded
        for span in spans:
            assert span.loaded == loaded_at(log, span.started_at)
            last = span.finished_at - timedelta(seconds=1)
            assert span.loaded == loaded_at(log, last)

"""
What was loaded on a press, derived from what was written down at it.

The log is the only record: a run never says which roll it used. An event holds from its moment
on; an event that corrects another takes its place, and a withdrawn one never happened.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from inventory.errors import OutOfRangeError


class PressEventKind(StrEnum):
    """What can happen at a press."""

    ROLL_LOADED = "roll_loaded"
    ROLL_TAKEN_OFF = "roll_taken_off"
    OVERLAY_LOADED = "overlay_loaded"
    OVERLAY_TAKEN_OFF = "overlay_taken_off"
    INK_CHANGED = "ink_changed"
    MAINTENANCE_DONE = "maintenance_done"
    CHECK_PASSED = "check_passed"
    CHECK_FAILED = "check_failed"
    DRYER_SET = "dryer_set"
    INK_MEASURED = "ink_measured"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedEvent:
    """
    One line of the press log.

    ``key`` numbers the lines in the order in which they were written; ``corrects`` is the key
    of the line this one replaces. ``roll``, ``overlay`` and ``container`` are the keys of what
    was handled. ``after_face`` and ``after_ft`` say how many faces, or what length, of the run
    under way had been printed by then, where somebody noted it.
    """

    key: int
    kind: PressEventKind
    happened_at: datetime
    roll: int | None = None
    overlay: int | None = None
    ink_channel: str = ""
    ink_color: str = ""
    ink_lot: str = ""
    ink_kind: str = ""
    container: int | None = None
    after_face: int | None = None
    after_ft: float | None = None
    corrects: int | None = None


@dataclass(frozen=True, slots=True)
class LoadedInk:
    """The ink in one channel; what is empty or ``None`` was not written down."""

    color: str
    lot: str
    kind: str = ""
    container: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """
    What was on the press at a time.

    ``roll`` is ``None`` both when the log says that none was on and when it says nothing yet;
    ``is_roll_known`` tells these apart, and likewise for the overlay. A channel without an
    entry is not known.
    """

    roll: int | None = None
    is_roll_known: bool = False
    overlay: int | None = None
    is_overlay_known: bool = False
    inks: Mapping[str, LoadedInk] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class WrongTakingOff:
    """An event that takes off what was not on: its key, and the key of what was (or none)."""

    key: int
    was_on: int | None


@dataclass(frozen=True, slots=True)
class LoadedSpan:
    """
    A stretch of time through which the press held the same things.

    ``until_face`` and ``until_ft`` are what had been printed of the run when it ended, where
    the change that ended it was noted with that.
    """

    started_at: datetime
    finished_at: datetime
    loaded: Loaded
    until_face: int | None = None
    until_ft: float | None = None


def events_that_hold(events: Iterable[LoggedEvent]) -> tuple[LoggedEvent, ...]:
    """
    Return the events that hold, in order of time: of one and its corrections, the last written.

    Parameters
    ----------
    events : iterable of LoggedEvent
        Every line of one press's log, or every line written by some day, in any order.

    Returns
    -------
    tuple of LoggedEvent
        In the order in which they happened; of events at one moment, as they were written.

    Raises
    ------
    OutOfRangeError
        If an event corrects one that is not in the log or was written after it, or a time has
        no time zone.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> on = LoggedEvent(key=1, kind=PressEventKind.ROLL_LOADED, roll=7,
    ...     happened_at=datetime(2026, 5, 4, 8, tzinfo=UTC))
    >>> earlier = LoggedEvent(key=2, kind=PressEventKind.ROLL_LOADED, roll=8, corrects=1,
    ...     happened_at=datetime(2026, 5, 4, 7, tzinfo=UTC))
    >>> [each.roll for each in events_that_hold([on, earlier])]
    [8]
    """
    by_key = {each.key: each for each in events}
    last: dict[int, LoggedEvent] = {}
    first_of: dict[int, int] = {}
    for each in sorted(by_key.values(), key=lambda one: one.key):
        if each.happened_at.tzinfo is None:
            msg = f"Event {each.key} of the press log has a time without a time zone."
            raise OutOfRangeError(msg)
        if each.corrects is None:
            first_of[each.key] = each.key
        elif each.corrects in first_of:
            first_of[each.key] = first_of[each.corrects]
        else:
            msg = (
                f"Event {each.key} of the press log corrects event {each.corrects}, which is "
                "not before it in the log."
            )
            raise OutOfRangeError(msg)
        last[first_of[each.key]] = each
    held = [each for each in last.values() if each.kind is not PressEventKind.WITHDRAWN]
    return tuple(sorted(held, key=lambda one: (one.happened_at, one.key)))


def _after(loaded: Loaded, event: LoggedEvent) -> Loaded:
    """Return what is on the press once an event has happened."""
    roll, is_roll_known = loaded.roll, loaded.is_roll_known
    overlay, is_overlay_known = loaded.overlay, loaded.is_overlay_known
    inks = loaded.inks
    match event.kind:
        case PressEventKind.ROLL_LOADED:
            roll, is_roll_known = event.roll, True
        case PressEventKind.ROLL_TAKEN_OFF:
            roll, is_roll_known = None, True
        case PressEventKind.OVERLAY_LOADED:
            overlay, is_overlay_known = event.overlay, True
        case PressEventKind.OVERLAY_TAKEN_OFF:
            overlay, is_overlay_known = None, True
        case PressEventKind.INK_CHANGED:
            ink = LoadedInk(event.ink_color, event.ink_lot, event.ink_kind, event.container)
            inks = MappingProxyType({**inks, event.ink_channel: ink})
    return Loaded(
        roll=roll,
        is_roll_known=is_roll_known,
        overlay=overlay,
        is_overlay_known=is_overlay_known,
        inks=inks,
    )


def loaded_at(events: Iterable[LoggedEvent], moment: datetime) -> Loaded:
    """
    Return what was on the press at a moment; what happened at that moment counts.

    Parameters
    ----------
    events : iterable of LoggedEvent
        The log of one press, in any order.
    moment : datetime
        An aware time.

    Raises
    ------
    OutOfRangeError
        As :func:`events_that_hold`, or if the moment has no time zone.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> on = LoggedEvent(key=1, kind=PressEventKind.ROLL_LOADED, roll=7,
    ...     happened_at=datetime(2026, 5, 4, 8, tzinfo=UTC))
    >>> loaded_at([on], datetime(2026, 5, 4, 8, tzinfo=UTC)).roll
    7
    >>> loaded_at([on], datetime(2026, 5, 4, 7, tzinfo=UTC)).is_roll_known
    False
    """
    _check_aware(moment)
    loaded = Loaded()
    for event in events_that_hold(events):
        if event.happened_at > moment:
            break
        loaded = _after(loaded, event)
    return loaded


def loaded_during(
    events: Iterable[LoggedEvent], started_at: datetime, finished_at: datetime
) -> tuple[LoadedSpan, ...]:
    """
    Return what was on the press through a stretch of time, split wherever it changed.

    What happened at the start counts for the whole; what happened at the end does not belong
    to it any more.

    Parameters
    ----------
    events : iterable of LoggedEvent
        The log of one press, in any order.
    started_at, finished_at : datetime
        Aware times, the start before the end.

    Returns
    -------
    tuple of LoadedSpan
        One span when nothing changed; together they cover the stretch without gaps.

    Raises
    ------
    OutOfRangeError
        As :func:`events_that_hold`, or if the start is not before the end.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> def at(hour): return datetime(2026, 5, 4, hour, tzinfo=UTC)
    >>> log = [
    ...     LoggedEvent(key=1, kind=PressEventKind.ROLL_LOADED, happened_at=at(8), roll=7),
    ...     LoggedEvent(key=2, kind=PressEventKind.ROLL_LOADED, happened_at=at(10), roll=9),
    ... ]
    >>> [span.loaded.roll for span in loaded_during(log, at(9), at(11))]
    [7, 9]
    >>> [span.loaded.roll for span in loaded_during(log, at(8), at(10))]
    [7]
    """
    _check_aware(started_at)
    _check_aware(finished_at)
    if not started_at < finished_at:
        msg = (
            f"A run cannot start at {started_at:%Y-%m-%d %H:%M} and finish at "
            f"{finished_at:%Y-%m-%d %H:%M}; the start has to be before the end."
        )
        raise OutOfRangeError(msg)
    return spans_in_each(events, [(started_at, finished_at)])[0]


def spans_in_each(
    events: Iterable[LoggedEvent], stretches: Sequence[tuple[datetime, datetime]]
) -> list[tuple[LoadedSpan, ...]]:
    """
    Return the spans of many stretches of time, going through the log once.

    Parameters
    ----------
    events : iterable of LoggedEvent
        The log of one press, in any order.
    stretches : sequence of (datetime, datetime)
        Aware times, each start before its end.

    Returns
    -------
    list of tuple of LoadedSpan
        As :func:`loaded_during` returns them for each stretch.

    Raises
    ------
    OutOfRangeError
        As :func:`events_that_hold`.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> def at(hour): return datetime(2026, 5, 4, hour, tzinfo=UTC)
    >>> on = LoggedEvent(key=1, kind=PressEventKind.ROLL_LOADED, happened_at=at(8), roll=7)
    >>> [len(spans) for spans in spans_in_each([on], [(at(7), at(9)), (at(8), at(9))])]
    [2, 1]
    """
    held = events_that_hold(events)
    times = [each.happened_at for each in held]
    states = [Loaded()]
    for event in held:
        states.append(_after(states[-1], event))
    found = []
    for started_at, finished_at in stretches:
        first = bisect_right(times, started_at)
        last = max(bisect_left(times, finished_at), first)
        loaded, since = states[first], started_at
        spans: list[LoadedSpan] = []
        for event, after in zip(held[first:last], states[first + 1 : last + 1], strict=True):
            if event.happened_at > since and after != loaded:
                spans.append(
                    LoadedSpan(
                        since, event.happened_at, loaded, event.after_face, event.after_ft
                    )
                )
                since = event.happened_at
            loaded = after
        spans.append(LoadedSpan(since, finished_at, loaded))
        found.append(tuple(spans))
    return found


def loaded_in_each(
    events: Iterable[LoggedEvent], stretches: Sequence[tuple[datetime, datetime]]
) -> list[tuple[Loaded, ...]]:
    """
    Return the different states of a press in each of many stretches of time.

    As :func:`loaded_during` of each, without its times, going through the log once.

    Parameters
    ----------
    events : iterable of LoggedEvent
        The log of one press, in any order.
    stretches : sequence of (datetime, datetime)
        Aware times, each start before its end.

    Raises
    ------
    OutOfRangeError
        As :func:`events_that_hold`.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> def at(hour): return datetime(2026, 5, 4, hour, tzinfo=UTC)
    >>> log = [
    ...     LoggedEvent(key=1, kind=PressEventKind.ROLL_LOADED, happened_at=at(8), roll=7),
    ...     LoggedEvent(key=2, kind=PressEventKind.ROLL_LOADED, happened_at=at(10), roll=9),
    ... ]
    >>> each = loaded_in_each(log, [(at(9), at(11)), (at(8), at(10))])
    >>> [[state.roll for state in states] for states in each]
    [[7, 9], [7]]
    """
    held = events_that_hold(events)
    times = [each.happened_at for each in held]
    states = [Loaded()]
    for event in held:
        states.append(_after(states[-1], event))
    found = []
    for started_at, finished_at in stretches:
        first = bisect_right(times, started_at)
        last = max(bisect_left(times, finished_at), first)
        different: list[Loaded] = []
        for state in states[first : last + 1]:
            if state not in different:
                different.append(state)
        found.append(tuple(different))
    return found


def taken_off_without_being_on(events: Iterable[LoggedEvent]) -> tuple[WrongTakingOff, ...]:
    """
    Return the events that take off a roll or overlay which was not the one loaded.

    Parameters
    ----------
    events : iterable of LoggedEvent
        The log of one press, in any order.

    Returns
    -------
    tuple of WrongTakingOff
        Empty for a log that makes sense. What was on before the log began is not known, so the
        first taking off is let pass.

    Raises
    ------
    OutOfRangeError
        As :func:`events_that_hold`.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> log = [
    ...     LoggedEvent(key=1, kind=PressEventKind.ROLL_LOADED, roll=7,
    ...         happened_at=datetime(2026, 5, 4, 8, tzinfo=UTC)),
    ...     LoggedEvent(key=2, kind=PressEventKind.ROLL_TAKEN_OFF, roll=9,
    ...         happened_at=datetime(2026, 5, 4, 9, tzinfo=UTC)),
    ... ]
    >>> taken_off_without_being_on(log)
    (WrongTakingOff(key=2, was_on=7),)
    """
    loaded = Loaded()
    wrong = []
    for event in events_that_hold(events):
        if event.kind is PressEventKind.ROLL_TAKEN_OFF:
            if loaded.is_roll_known and event.roll != loaded.roll:
                wrong.append(WrongTakingOff(event.key, loaded.roll))
        elif (
            event.kind is PressEventKind.OVERLAY_TAKEN_OFF
            and loaded.is_overlay_known
            and event.overlay != loaded.overlay
        ):
            wrong.append(WrongTakingOff(event.key, loaded.overlay))
        loaded = _after(loaded, event)
    return tuple(wrong)


def _check_aware(moment: datetime) -> None:
    if moment.tzinfo is None:
        msg = f"The time {moment:%Y-%m-%d %H:%M} has no time zone; say which one it is in."
        raise OutOfRangeError(msg)

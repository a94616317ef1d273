"""What a press needs again: tasks by days or hours of printing, and checks that failed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from inventory.errors import OutOfRangeError

SECONDS_PER_HOUR = 3600.0
Stretch = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class TaskDue:
    """
    How a task stands.

    ``done_at`` is when it was last done, ``None`` if that is on no record; it is due then.
    ``due_at`` is when it falls due by days. ``hours_left`` is what may still be printed before
    it falls due by hours, negative when it is over.
    """

    done_at: datetime | None
    is_due: bool
    due_at: datetime | None = None
    hours_left: float | None = None


def hours_run(runs: Iterable[Stretch], since: datetime | None, until: datetime) -> float:
    """
    Return the hours a press printed from one moment to another.

    Parameters
    ----------
    runs : iterable of (datetime, datetime)
        Start and end of each run, aware; runs of one press do not overlap.
    since : datetime or None
        Aware; without it, from the first run on.
    until : datetime
        Aware.

    Returns
    -------
    float
        Only what lies between the two counts of a run. [h]

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> def at(hour): return datetime(2026, 5, 4, hour, tzinfo=UTC)
    >>> hours_run([(at(8), at(10)), (at(11), at(15))], at(9), at(13))
    3.0
    """
    seconds = 0.0
    for started_at, finished_at in runs:
        start = started_at if since is None else max(started_at, since)
        seconds += max(0.0, (min(finished_at, until) - start).total_seconds())
    return seconds / SECONDS_PER_HOUR


def task_due(
    *,
    every_days: int | None,
    every_hours: float | None,
    done_at: datetime | None,
    runs: Sequence[Stretch],
    now: datetime,
) -> TaskDue:
    """
    Return how a task of a press stands at a moment.

    Parameters
    ----------
    every_days : int or None
        Days from one time to the next: 1 daily, 7 weekly. [d]
    every_hours : float or None
        Or hours of printing. [h]
    done_at : datetime or None
        When it was last done; ``None`` if that is on no record.
    runs : sequence of (datetime, datetime)
        Start and end of the press's runs since then.
    now : datetime
        Aware.

    Raises
    ------
    OutOfRangeError
        If not exactly one of days and hours is given, or it is not over 0.

    References
    ----------
    .. [1] Common practice, no source: the list and its times are the shop's own.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> done = datetime(2026, 5, 4, 8, tzinfo=UTC)
    >>> task_due(every_days=7, every_hours=None, done_at=done, runs=[],
    ...     now=datetime(2026, 5, 11, 8, tzinfo=UTC)).is_due
    True
    """
    given = [each for each in (every_days, every_hours) if each is not None]
    if len(given) != 1 or given[0] <= 0:
        msg = (
            f"A task comes back every so many days or hours of printing, one of them and over "
            f"0; days are {every_days}, hours {every_hours}."
        )
        raise OutOfRangeError(msg)
    if done_at is None:
        return TaskDue(None, is_due=True)
    if every_hours is not None:
        left = every_hours - hours_run(runs, done_at, now)
        return TaskDue(done_at, is_due=left <= 0, hours_left=left)
    due_at = done_at + timedelta(days=given[0])
    return TaskDue(done_at, is_due=due_at <= now, due_at=due_at)


@dataclass(frozen=True, slots=True)
class PrintCheck:
    """A nozzle or density check of a press; ``kind`` is empty where it was not said which."""

    key: int
    happened_at: datetime
    is_passed: bool
    kind: str = ""


@dataclass(frozen=True, slots=True)
class ChecksAround:
    """The last check of one kind before a run and the first after it; ``None``: none was."""

    kind: str
    before: PrintCheck | None
    after: PrintCheck | None

    @property
    def is_in_doubt(self) -> bool:
        """Return whether a check just before or after the run failed."""
        near = (self.before, self.after)
        return any(each is not None and not each.is_passed for each in near)


def checks_around(checks: Iterable[PrintCheck], run: Stretch) -> list[ChecksAround]:
    """
    Return the checks before and after a run, each kind apart.

    A failed check puts every run since the last passed one of its kind in doubt, and every run
    after it until one passes. A check made in mid-run counts as one after it: of several, a
    failed one is named before a passed one.

    Parameters
    ----------
    checks : iterable of PrintCheck
        Of one press, in any order; those that were withdrawn left out.
    run : (datetime, datetime)
        Start and end, aware.

    References
    ----------
    .. [1] Common practice, no source: what was printed since the last good check is looked at.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> def at(hour): return datetime(2026, 5, 4, hour, tzinfo=UTC)
    >>> checks = [PrintCheck(1, at(8), True, "nozzle"), PrintCheck(2, at(16), False, "nozzle")]
    >>> [each.is_in_doubt for each in checks_around(checks, (at(9), at(10)))]
    [True]
    """
    started_at, finished_at = run
    by_kind: dict[str, list[PrintCheck]] = {}
    for each in sorted(checks, key=lambda one: (one.happened_at, one.key)):
        by_kind.setdefault(each.kind, []).append(each)
    found = []
    for kind in sorted(by_kind):
        before = [each for each in by_kind[kind] if each.happened_at <= started_at]
        after = [each for each in by_kind[kind] if each.happened_at > started_at]
        during = [each for each in after if each.happened_at < finished_at]
        failed = next((each for each in during if not each.is_passed), None)
        later = [each for each in after if each.happened_at >= finished_at]
        first_after = failed or next(iter(later), during[-1] if during else None)
        found.append(ChecksAround(kind, before[-1] if before else None, first_after))
    return found

"""Whether a sign is due for replacement, why, since when, and where it stands in the queue."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.vocabulary import Severity
from inventory.errors import OutOfRangeError

# The queue's key is one whole number: safety class, then severe damage, then margin.
_CLASS_STEP = 10_000_000_000
_CONDITION_STEP = 1_000_000_000
_MARGIN_SCALE = 1_000_000  # millionths of value over level
_LAST_MARGIN = _CONDITION_STEP - 1


@dataclass(frozen=True, slots=True)
class Cause:
    """
    One reason for replacing a sign, and the day from which it holds.

    ``due_on`` is the day by which it is to be put right, where the agency set a time for it;
    ``None`` stands for the day from which it holds.
    """

    words: str
    from_on: date
    due_on: date | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """Whether a sign is due on a day; the cause named first is the one that came first."""

    is_due: bool
    due_on: date | None
    reason: str


def find_causes(
    *,
    verdict: Verdict,
    verdict_words: str,
    judged_on: date,
    severity: Severity | None = None,
    condition_words: str = "",
    seen_on: date | None = None,
    put_right_by_on: date | None = None,
    inadequate_on: date | None = None,
    planned_year: int | None = None,
    age: Cause | None = None,
) -> tuple[Cause, ...]:
    """
    Return every reason there is for replacing a sign.

    Below its level, of sheeting not allowed, moderate or severe damage, found not adequate by
    night, planned by the agency's own list, or its age under a method that goes by age.
    Undecided and no usable reading are none: such a sign has to be read, not replaced.

    Parameters
    ----------
    verdict : Verdict
        The sign's verdict.
    verdict_words : str
        Short words for it, such as "red 6 is below 7".
    judged_on : date
        Day of the readings that were judged, or of the judgement where none were needed.
    severity : Severity, optional
        Of the worst that was seen; ``None`` when nobody has looked.
    condition_words : str
        Short words for what was seen, such as "severe: knocked down".
    seen_on : date, optional
        Day it was seen.
    put_right_by_on : date, optional
        Day by which it is to be put right, from :func:`put_right_by`; ``None``: the day seen.
    inadequate_on : date, optional
        Day on which a night inspection, newer than the judged readings, found it not adequate.
    planned_year : int, optional
        Replacement year of the agency's own list.
    age : Cause, optional
        The day on which the sign's method of record replaces it by age, and why.

    Examples
    --------
    >>> day = date(2026, 5, 1)
    >>> find_causes(
    ...     verdict=Verdict.BELOW, verdict_words="red 6 is below 7", judged_on=day
    ... )[0].words
    'red 6 is below 7'
    """
    causes = []
    if verdict.is_failing:
        causes.append(Cause(verdict_words, judged_on))
    if severity in (Severity.MODERATE, Severity.SEVERE) and seen_on is not None:
        causes.append(Cause(condition_words, seen_on, put_right_by_on))
    if inadequate_on is not None:
        causes.append(Cause("not adequate by night", inadequate_on))
    if planned_year is not None:
        causes.append(
            Cause(f"the agency's own list plans {planned_year}", date(planned_year, 1, 1))
        )
    if age is not None:
        causes.append(age)
    return tuple(causes)


def find_due(causes: Iterable[Cause], *, today: date, is_ours: bool) -> Due:
    """
    Return whether a sign is due on a day.

    Parameters
    ----------
    causes : iterable of Cause
        From :func:`find_causes`.
    today : date
        The day asked about.
    is_ours : bool
        Whether the agency answers for the sign; another's is shown and never due.

    Returns
    -------
    Due
        ``due_on`` is the earliest day by which a cause asks for a new sign. A cause that holds
        from a day still to come does not make the sign due yet; damage does from the day it was
        seen, whatever the time the agency gives itself to put it right. The reason names what
        holds today, or else what comes first.

    Examples
    --------
    >>> plan = Cause("the agency's own list plans 2028", date(2028, 1, 1))
    >>> find_due([plan], today=date(2026, 6, 1), is_ours=True).is_due
    False
    """
    in_order = sorted(causes, key=lambda cause: cause.from_on)
    if not in_order or not is_ours:
        return Due(False, None, "")
    holding = [cause for cause in in_order if cause.from_on <= today]
    said = holding or in_order[:1]
    due_on = min(cause.due_on or cause.from_on for cause in in_order)
    return Due(bool(holding), due_on, "; ".join(cause.words for cause in said))


NO_TARGET = "no target set by the agency"
_DAMAGE = (Severity.MODERATE, Severity.SEVERE)
_CLASSES = (1, 2, 3, 4)
DamageDays = Mapping[tuple[Severity, int], int]


def read_damage_days(stated: Mapping[str, Any]) -> dict[tuple[Severity, int], int]:
    """
    Return an agency's own times for putting damage right, by severity and safety class.

    Parameters
    ----------
    stated : mapping
        Days by severity (moderate, severe) and safety class ("1" to "4"); either may be left
        out. [d]

    Raises
    ------
    OutOfRangeError
        If a severity, a class or a number of days is none.

    References
    ----------
    .. [1] Cornell Local Roads Program, on downed signs: no fixed time in regulation; an agency
       should adopt and keep its own.

    Examples
    --------
    >>> read_damage_days({"severe": {"1": 1}})
    {(<Severity.SEVERE: 3>, 1): 1}
    """
    names = {each.name.lower(): each for each in _DAMAGE}
    found: dict[tuple[Severity, int], int] = {}
    for name, by_class in stated.items():
        if name not in names or not isinstance(by_class, Mapping):
            msg = (
                f"'{name}' cannot be read as a severity with days by safety class; write "
                f"{' or '.join(names)}, then a class with its days."
            )
            raise OutOfRangeError(msg)
        for number, days in by_class.items():
            is_class = str(number) in {str(each) for each in _CLASSES}
            if not is_class or isinstance(days, bool) or not isinstance(days, int) or days < 0:
                msg = (
                    f"'{number}: {days}' under {name} is not a safety class (1 to 4) with a "
                    "whole number of days, 0 or more; correct it."
                )
                raise OutOfRangeError(msg)
            found[names[name], int(number)] = days
    return found


def put_right_by(
    *,
    severity: Severity,
    safety_class: int,
    seen_on: date,
    notified_on: date | None,
    damage_days: DamageDays,
) -> tuple[date, str]:
    """
    Return the day by which damage is to be put right, and how that day came about.

    The clock starts when the agency is notified. An agency that set no time has the sign due
    from the day the damage was seen.

    Parameters
    ----------
    severity : Severity
        Moderate or severe.
    safety_class : int
        1 (first) to 4.
    seen_on : date
        Day it was seen.
    notified_on : date, optional
        Day the agency came to know of it; the day seen where that is not recorded.
    damage_days : mapping
        From :func:`read_damage_days`. [d]

    References
    ----------
    .. [1] Cornell Local Roads Program: within 24 h of notification at some agencies; Warren
       County, North Carolina: report, notification and repair are three dates.

    Examples
    --------
    >>> put_right_by(
    ...     severity=Severity.SEVERE, safety_class=1, seen_on=date(2026, 5, 1),
    ...     notified_on=date(2026, 5, 2), damage_days={(Severity.SEVERE, 1): 1},
    ... )
    (datetime.date(2026, 5, 3), 'within 1 day of 2026-05-02')
    """
    days = damage_days.get((severity, safety_class))
    if days is None:
        return seen_on, NO_TARGET
    start = notified_on or seen_on
    unit = "day" if days == 1 else "days"
    return start + timedelta(days=days), f"within {days} {unit} of {start:%Y-%m-%d}"


def due_order(
    *, safety_class: int, severity: Severity | None, margin_ratio: float | None
) -> int:
    """
    Return the sort key of the due list: smaller comes first.

    Safety class first (1 is Stop, Yield, Do Not Enter, Wrong Way), then severe damage, then
    the margin (value over level) from small to large; a sign without a margin comes last in
    its group.

    Parameters
    ----------
    safety_class : int
        1 (first) to 4.
    severity : Severity or None
        Of the worst that was seen.
    margin_ratio : float or None
        Least value over level, zero or more.

    References
    ----------
    .. [1] Cornell Local Roads Program, What signs should we replace first? (see the safety
       class table for what was read).

    Examples
    --------
    >>> dim_stop = due_order(safety_class=1, severity=None, margin_ratio=0.2)
    >>> dimmer_curve = due_order(safety_class=2, severity=None, margin_ratio=0.1)
    >>> dim_stop < dimmer_curve
    True
    """
    margin = _LAST_MARGIN
    if margin_ratio is not None:
        margin = min(_LAST_MARGIN - 1, round(margin_ratio * _MARGIN_SCALE))
    group = 0 if severity is Severity.SEVERE else 1
    return safety_class * _CLASS_STEP + group * _CONDITION_STEP + margin

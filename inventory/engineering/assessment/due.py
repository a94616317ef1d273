"""Whether a sign is due for replacement, why, since when, and where it stands in the queue."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.vocabulary import Severity

# The queue's key is one whole number: safety class, then severe damage, then margin.
_CLASS_STEP = 10_000_000_000
_CONDITION_STEP = 1_000_000_000
_MARGIN_SCALE = 1_000_000  # millionths of value over level
_LAST_MARGIN = _CONDITION_STEP - 1


@dataclass(frozen=True, slots=True)
class Cause:
    """One reason for replacing a sign, and the day from which it holds."""

    words: str
    from_on: date


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
    inadequate_on: date | None = None,
    planned_year: int | None = None,
) -> tuple[Cause, ...]:
    """
    Return every reason there is for replacing a sign.

    Below its level, of sheeting not allowed, moderate or severe damage, found not adequate by
    night, or planned by the agency's own list. Undecided and no usable reading are none: such
    a sign has to be read, not replaced.

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
    inadequate_on : date, optional
        Day on which a night inspection, newer than the judged readings, found it not adequate.
    planned_year : int, optional
        Replacement year of the agency's own list.

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
        causes.append(Cause(condition_words, seen_on))
    if inadequate_on is not None:
        causes.append(Cause("not adequate by night", inadequate_on))
    if planned_year is not None:
        causes.append(
            Cause(f"the agency's own list plans {planned_year}", date(planned_year, 1, 1))
        )
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
        ``due_on`` is the first day of any cause, which may be still to come: then the sign is
        not due yet. The reason names what holds today, or else what comes first.

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
    return Due(bool(holding), in_order[0].from_on, "; ".join(cause.words for cause in said))


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

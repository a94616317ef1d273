"""The colours of a sign put together: when it is due, by which of them, in plain words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from inventory.errors import OutOfRangeError

DAYS_PER_YEAR = 365.25
LONGEST_SENTENCE = 400


class Basis(StrEnum):
    """What a forecast rests on."""

    OWN_READINGS = "own_readings"
    COHORT = "cohort"
    AGENCY_LIFE = "agency_life"
    NONE = "none"


class End(StrEnum):
    """Which end of a face comes first."""

    LEVEL = "level"
    FADE = "fade"


class Missing(StrEnum):
    """What is missing where there is nothing to go by."""

    NOTHING = ""
    AGE_AND_READING = "age_and_reading"
    COHORT = "cohort"
    COHORT_OF_KNOWN_AGE = "cohort_of_known_age"
    COLOURS = "colours"

    @property
    def words(self) -> str:
        """Return what is missing and what to do, as a sentence."""
        return {
            Missing.NOTHING: "",
            Missing.AGE_AND_READING: (
                "No reading and no known age: nothing to go by. Read it once."
            ),
            Missing.COHORT: (
                "No reading of such faces and no expected life on record: nothing to go by. "
                "Read it once, or set an expected life."
            ),
            Missing.COHORT_OF_KNOWN_AGE: (
                "It was read, but no face like it whose age is known was: nothing tells how "
                "fast it falls. Read such faces of known age, or enter when it was put up."
            ),
            Missing.COLOURS: (
                "Its colours are not on record and it was not read: nothing to go by. Enter "
                "its colours, or read it once."
            ),
        }[self]


@dataclass(frozen=True, slots=True)
class FadeDue:
    """
    When a colour fades, in years from now, past ones under 0; ``None`` where it is not reached.

    ``basis`` is what that rests on and ``words`` say so.
    """

    due_years: float
    early_years: float | None = None
    late_years: float | None = None
    basis: Basis = Basis.COHORT
    words: str = ""


@dataclass(frozen=True, slots=True)
class ColourDue:
    """
    What is forecast of one colour of a sign.

    Parameters
    ----------
    color : str
        The colour.
    basis : Basis
        What it rests on.
    level_cd_lx_m2 : float, optional
        The level it has to keep; ``None`` where no table has one. [cd/lx/m²]
    ra_cd_lx_m2, ra_low_cd_lx_m2, ra_high_cd_lx_m2 : float, optional
        R_A now, with 90 %. [cd/lx/m²]
    probabilities_below : tuple of float
        Of being below the level now and at the end of each year from this one on; empty where
        nothing tells.
    due_years, early_years, late_years : float, optional
        Years from now until it is due, and until 5 % and 95 % of such signs are; infinite is
        not within 30 years, ``None`` is not known. [year]
    is_extrapolated : bool
        Whether the due date is beyond the ages read so far.
    life_words : str
        The expected life it goes by, where it goes by one.
    fade : FadeDue, optional
        Its other end.
    missing : Missing
        What is missing where the basis is none.
    """

    color: str
    basis: Basis
    level_cd_lx_m2: float | None = None
    ra_cd_lx_m2: float | None = None
    ra_low_cd_lx_m2: float | None = None
    ra_high_cd_lx_m2: float | None = None
    probabilities_below: tuple[float, ...] = ()
    due_years: float | None = None
    early_years: float | None = None
    late_years: float | None = None
    is_extrapolated: bool = False
    life_words: str = ""
    fade: FadeDue | None = None
    missing: Missing = Missing.NOTHING


@dataclass(frozen=True, slots=True)
class SignDue:
    """
    When a sign is due, by the colour and end that come first.

    ``color`` is the governing one, empty where there is nothing to go by. Dates are ``None``
    where it is not within 30 years or not known; ``basis`` tells these apart.
    ``probabilities_below`` are of the whole sign at the end of each year: the greatest over its
    colours, so never more than that of any colour being below.
    """

    basis: Basis
    end: End | None
    color: str
    due_on: date | None
    due_early_on: date | None
    due_late_on: date | None
    probability_below: float | None
    probabilities_below: tuple[float, ...]
    is_extrapolated: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class _Ending:
    """One end of one colour; years from now."""

    colour: ColourDue
    end: End
    basis: Basis
    due: float
    early: float | None
    late: float | None

    @property
    def order(self) -> tuple[float, float, str, str]:
        """Return what puts ends in order: the earliest, then the more probable."""
        last = self.colour.probabilities_below[-1:] or (0.0,)
        return self.due, -last[0], self.colour.color, self.end.value


def day_after(today: date, years: float | None) -> date | None:
    """
    Return the day so many years from today; ``None`` for none and for infinity.

    Examples
    --------
    >>> day_after(date(2026, 6, 1), 2.0).isoformat(), day_after(date(2026, 6, 1), math.inf)
    ('2028-05-31', None)
    """
    if years is None or math.isinf(years):
        return None
    return today + timedelta(days=round(years * DAYS_PER_YEAR))


def years_to_year_end(today: date) -> float:
    """
    Return the years from a day to the end of its year, over 0 and at most 1.

    Examples
    --------
    >>> round(years_to_year_end(date(2026, 7, 2)), 2), years_to_year_end(date(2028, 1, 1))
    (0.5, 1.0)
    """
    return min((date(today.year + 1, 1, 1) - today).days / DAYS_PER_YEAR, 1.0)


def sign_due(colours: Sequence[ColourDue], *, today: date) -> SignDue:
    """
    Return when a sign is due from what is forecast of its colours.

    Parameters
    ----------
    colours : sequence of ColourDue
        Of the face; may be empty.
    today : date
        The day that "now" stands for.

    Raises
    ------
    OutOfRangeError
        If colours are told for different years.

    Examples
    --------
    >>> white = ColourDue("white", Basis.OWN_READINGS, 120.0, 178.0, 150.0, 211.0,
    ...     (0.01, 0.02), 4.96, 1.9, 9.8, is_extrapolated=True)
    >>> red = ColourDue("red", Basis.NONE, 7.0, missing=Missing.COHORT)
    >>> found = sign_due([white, red], today=date(2026, 6, 1))
    >>> found.color, found.due_on.isoformat(), found.probabilities_below
    ('white', '2031-05-18', (0.02,))
    >>> print(found.sentence)
    Due about May 2031 (90 % of such signs between 2028 and 2036): white falls below
    120 cd/lx/m², from its own readings and its cohort; now about 178 (90 % between 150 and
    211). Beyond the ages read so far. Nothing to go by for red.
    """
    told = [each for each in colours if each.probabilities_below]
    if len({len(each.probabilities_below) for each in told}) > 1:
        msg = "The colours of a sign are forecast for different years; use one run for all."
        raise OutOfRangeError(msg)
    whole = tuple(
        max(values)
        for values in zip(*(each.probabilities_below[1:] for each in told), strict=True)
    )
    endings = sorted(_endings(colours), key=lambda each: each.order)
    if not endings:
        return _without_due(colours)
    first = endings[0]
    colour = first.colour
    now = colour.probabilities_below[0] if colour.probabilities_below else None
    return SignDue(
        basis=first.basis,
        end=first.end,
        color=colour.color,
        due_on=day_after(today, first.due),
        due_early_on=day_after(today, first.early),
        due_late_on=day_after(today, first.late),
        probability_below=now,
        probabilities_below=whole,
        is_extrapolated=colour.is_extrapolated and first.end is End.LEVEL,
        sentence=_joined([*_sentences(first, today), *_gaps(colours)]),
    )


def _endings(colours: Sequence[ColourDue]) -> list[_Ending]:
    found = []
    for each in colours:
        if each.due_years is not None:
            found.append(
                _Ending(
                    each,
                    End.LEVEL,
                    each.basis,
                    each.due_years,
                    each.early_years,
                    each.late_years,
                )
            )
        if each.fade is not None:
            fade = each.fade
            found.append(
                _Ending(
                    each,
                    End.FADE,
                    fade.basis,
                    fade.due_years,
                    fade.early_years,
                    fade.late_years,
                )
            )
    return found


def _without_due(colours: Sequence[ColourDue]) -> SignDue:
    """Return what there is to say of a sign without any due date."""
    seen = [each for each in colours if each.ra_cd_lx_m2 is not None]
    if seen:
        first = min(seen, key=lambda each: (each.basis is not Basis.OWN_READINGS, each.color))
        words = [
            f"No level on record for {_words(first.color)}, so no due date. R_A now "
            f"{_present(first)}, {_FROM[first.basis]}.",
            *_gaps(colours),
        ]
        return _nowhere(first.basis, first.color, first.is_extrapolated, _joined(words))
    missing = next((each.missing for each in colours if each.missing), Missing.COLOURS)
    return _nowhere(Basis.NONE, "", False, missing.words)


def _nowhere(basis: Basis, color: str, is_extrapolated: bool, sentence: str) -> SignDue:
    return SignDue(basis, None, color, None, None, None, None, (), is_extrapolated, sentence)


_FROM = {
    Basis.OWN_READINGS: "from its own readings and its cohort",
    Basis.COHORT: "from its cohort (it was not read itself)",
    Basis.AGENCY_LIFE: "by the agency's expected life",
    Basis.NONE: "with nothing to go by",
}


def _sentences(first: _Ending, today: date) -> list[str]:
    colour = first.colour
    color = _words(colour.color)
    if first.end is End.FADE:
        fade = colour.fade
        assert fade is not None  # noqa: S101 - an ending by fade has one
        return [f"{_when(first, today)}: {color} fades{_by(fade.words)}."]
    if first.basis is Basis.AGENCY_LIFE:
        return [f"{_when(first, today)}{_by(colour.life_words)}."]
    level = f"{colour.level_cd_lx_m2:g} cd/lx/m²"
    beyond = ["Beyond the ages read so far."] if colour.is_extrapolated else []
    source = _FROM[first.basis]
    if math.isinf(first.due):
        return [
            f"Not due within 30 years: {color} stays above {level} for longer, {source}; now "
            f"{_present(colour)}.",
            *beyond,
        ]
    if first.due <= 0:
        share = colour.probabilities_below[0] if colour.probabilities_below else 0.0
        return [
            f"Due now: {color} is below {level} with a probability of {_percent(share)}, "
            f"{source}; now {_present(colour)}.",
            *beyond,
        ]
    return [
        f"{_when(first, today)}: {color} falls below {level}, {source}; now "
        f"{_present(colour)}.",
        *beyond,
    ]


def _when(ending: _Ending, today: date) -> str:
    due = day_after(today, ending.due)
    if due is None:
        return "Not due within 30 years"
    words = f"Due {'about' if due > today else 'since about'} {due:%B %Y}"
    return words + _span(ending, today)


def _span(ending: _Ending, today: date) -> str:
    """Return between which years 90 % of such signs are due, in brackets."""
    if ending.early is None:
        return ""
    early, late = day_after(today, ending.early), day_after(today, ending.late)
    if early is None:
        return ""
    begin = "now" if early <= today and ending.end is End.LEVEL else str(early.year)
    if late is None:
        return f" (5 % of such signs before {early.year}, some not within 30 years)"
    if begin == str(late.year):
        return f" (90 % of such signs in {begin})"
    return f" (90 % of such signs between {begin} and {late.year})"


def _present(colour: ColourDue) -> str:
    low, high = colour.ra_low_cd_lx_m2, colour.ra_high_cd_lx_m2
    if colour.ra_cd_lx_m2 is None:
        return "not known"
    words = f"about {_figure(colour.ra_cd_lx_m2)}"
    if low is None or high is None:
        return words
    return f"{words} (90 % between {_figure(low)} and {_figure(high)})"


def _gaps(colours: Sequence[ColourDue]) -> list[str]:
    """Return which colours there is nothing to go by for."""
    names = [
        _words(each.color) for each in colours if each.basis is Basis.NONE and each.fade is None
    ]
    return [f"Nothing to go by for {' and '.join(names)}."] if names else []


def _by(words: str) -> str:
    return f", {words.rstrip('.')}" if words else ""


def _joined(sentences: Sequence[str]) -> str:
    """Return sentences as one text; what has no room is left out from the end."""
    text = sentences[0]
    for each in sentences[1:]:
        if len(text) + 1 + len(each) <= LONGEST_SENTENCE:
            text = f"{text} {each}"
    return text if len(text) <= LONGEST_SENTENCE else text[: LONGEST_SENTENCE - 1] + "…"


def _words(color: str) -> str:
    return color.replace("-", " ").replace("_", " ")


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def _percent(share: float) -> str:
    if share > 0.99:
        return "over 99 %"
    return f"{100 * share:.0f} %"

"""What the page of a sign shows of its readings and of what is forecast of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.forecast.cohorts import CohortKey
from inventory.engineering.forecast.reading_interval import reading_interval
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.engineering.standards.vocabulary import Color
from inventory.models import SignForecast
from inventory.services.forecast.sign_outlook import decimal_year
from inventory.services.sign_record import LEFT_OUT, NOT_THE_NEWEST, NOT_YET
from inventory.web.forecast_plots import Column, Level, Mark, Plot, Series, Span
from inventory.web.numbers import estimate, month_words, percent_words, plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from inventory.models import CohortFit
    from inventory.services.forecast.sign_outlook import ColorOutlook, Curve, Fade, SignOutlook
    from inventory.services.sign_record import ColourReading, SignRecord

# Not judged, but read well enough to be forecast from.
USABLE = ("", NOT_THE_NEWEST, NOT_YET, LEFT_OUT)
YEAR_ENDS = 30
FADE_BASIS_WORDS = {
    SignForecast.Basis.COHORT.value: "as such faces have faded here",
    SignForecast.Basis.AGENCY_LIFE.value: "by the agency's expected life of the colour",
}
COLUMNS = (
    Column("When", is_number=False),
    Column("What", is_number=False),
    Column("R_A", "cd/lx/m²"),
    Column("90 % from", "cd/lx/m²"),
    Column("to", "cd/lx/m²"),
    Column("Below its level then"),
)


@dataclass(frozen=True)
class ColorPart:
    """One colour of a sign: its drawing, and what is said of it in words."""

    color: str
    plot: Plot | None
    facts: list[tuple[str, str]]
    notes: list[str]
    cohort: CohortFit | None
    cohort_words: str


@dataclass(frozen=True)
class SignPart:
    """The forecast part of a sign's page; ``sentence`` is empty where none was made yet."""

    sentence: str
    basis: str
    notes: list[str]
    governing: ColorPart | None
    others: list[ColorPart]

    @property
    def parts(self) -> list[ColorPart]:
        """Return the colours, the governing one first."""
        return [*([self.governing] if self.governing else []), *self.others]


def sign_part(record: SignRecord, outlook: SignOutlook | None) -> SignPart:
    """Return what the page shows of a sign's readings and of what is forecast of it."""
    colors = {each.color: each for each in outlook.colors} if outlook else {}
    names = list(dict.fromkeys([*colors, *_colors_of(record)]))
    parts = [
        _color_part(name, record, colors.get(name), outlook.forecast if outlook else None)
        for name in names
    ]
    shown = [each for each in parts if each.plot or each.facts or each.notes]
    governing = outlook.governing.color if outlook and outlook.governing else ""
    first = [each for each in shown if each.color == governing] or shown[:1]
    return SignPart(
        sentence=outlook.forecast.sentence if outlook else "",
        basis=outlook.forecast.get_basis_display() if outlook else "",
        notes=_notes(record, outlook) if outlook else [],
        governing=first[0] if first else None,
        others=[each for each in shown if each not in first],
    )


def _colors_of(record: SignRecord) -> Iterable[str]:
    """Return the colours that were judged, then those that were read."""
    yield from (each.color for each in record.elements if each.kind == "color")
    yield from (each.color for each in record.readings)


def _notes(record: SignRecord, outlook: SignOutlook) -> list[str]:
    """Return what a reader of the forecast has to know of all of it."""
    made_at = outlook.forecast.made_at
    notes = []
    read = {each.inspection_id for each in record.readings}
    if any(each.recorded_at > made_at and each.pk in read for each in record.inspections):
        notes.append(
            "This was made before the newest reading was recorded. It is made anew each night."
        )
    if outlook.forecast.end == SignForecast.End.FADE:
        notes.append(
            "Its colour is expected to fade before its R_A falls below the level: that end "
            "comes first."
        )
    return notes


def _color_part(
    color: str,
    record: SignRecord,
    outlook: ColorOutlook | None,
    forecast: SignForecast | None,
) -> ColorPart:
    readings = [each for each in record.readings if each.color == color]
    fit = outlook.fit if outlook else None
    return ColorPart(
        color=color,
        plot=_plot(color, readings, record, outlook, forecast),
        facts=_facts(outlook) if outlook else [],
        notes=_color_notes(outlook) if outlook else [],
        cohort=fit,
        cohort_words=CohortKey.read(fit.key).words if fit else "",
    )


def _facts(outlook: ColorOutlook) -> list[tuple[str, str]]:
    """Return the figures of a colour in words; what is not known is left to the notes."""
    facts = []
    if (
        outlook.ra_cd_lx_m2 is not None
        and outlook.ra_low_cd_lx_m2 is not None
        and outlook.ra_high_cd_lx_m2 is not None
    ):
        facts.append(
            (
                "R_A now",
                f"{estimate(outlook.ra_cd_lx_m2)} cd/lx/m²; 90 % of such signs between "
                f"{estimate(outlook.ra_low_cd_lx_m2)} and {estimate(outlook.ra_high_cd_lx_m2)}",
            )
        )
    if outlook.probability_below is not None and outlook.level_cd_lx_m2 is not None:
        level = f"{outlook.level_cd_lx_m2:g}"
        facts.append(
            (f"Below its level of {level}", f"{percent_words(outlook.probability_below)} now")
        )
    if outlook.is_forecast and outlook.level_cd_lx_m2 is not None:
        facts.append(("Due", _due_words(outlook)))
    elif outlook.due_on is not None:
        facts.append(("Due", month_words(outlook.due_on)))
    if outlook.fade is not None:
        facts.append(("Colour faded", _fade_words(outlook.fade)))
    return facts


def _fade_words(fade: Fade) -> str:
    if fade.due_on is None:
        words = "not within 30 years"
    else:
        words = month_words(fade.due_on)
        if fade.due_early_on and fade.due_late_on:
            words += (
                f"; 90 % of such signs between {month_words(fade.due_early_on)} and "
                f"{month_words(fade.due_late_on)}"
            )
    basis = FADE_BASIS_WORDS.get(fade.basis, "")
    return f"{words} ({basis})" if basis else words


def _due_words(outlook: ColorOutlook) -> str:
    early = month_words(outlook.due_early_on) if outlook.due_early_on else ""
    if outlook.due_on is None:
        if not early:
            return "not within 30 years"
        return f"not within 30 years; 5 % of such signs before {early}"
    due = month_words(outlook.due_on)
    if outlook.due_late_on is None:
        return f"{due}; 5 % of such signs before {early or 'now'}, some not within 30 years"
    late = month_words(outlook.due_late_on)
    return f"{due}; 90 % of such signs between {early or 'now'} and {late}"


def _color_notes(outlook: ColorOutlook) -> list[str]:
    """Return what is not known of a colour, each in a sentence."""
    notes = [outlook.life] if outlook.life else []
    if outlook.is_forecast and outlook.is_age_known is False:
        notes.append(
            "When this sign was put up is not known; its decline is reckoned from its first "
            "reading on."
        )
    if outlook.is_forecast and outlook.level_cd_lx_m2 is None:
        notes.append("No level is on record for this colour, so none is due by its level.")
    if outlook.is_extrapolated and outlook.fit is not None:
        notes.append(
            "The due date lies at an age that no sign of its cohort had when it was read; the "
            f"oldest was {outlook.fit.oldest_age_years:.0f} years. Beyond it the curve is "
            "dashed: it is carried on, not observed."
        )
    return notes


def _plot(
    color: str,
    readings: Sequence[ColourReading],
    record: SignRecord,
    outlook: ColorOutlook | None,
    forecast: SignForecast | None,
) -> Plot | None:
    curve = outlook.curve if outlook else None
    if not readings and curve is None:
        return None
    zone = ZoneInfo(record.sign.owner.time_zone) if record.sign.owner else ZoneInfo("UTC")
    visits = [_Visit.of(each, record, zone) for each in readings]
    levels = _levels(color, record, outlook)
    today = forecast.as_of_on if forecast and curve else None
    name = Color(color).words
    return Plot.make(
        id=f"plot-{color}",
        title=name.capitalize(),
        summary=_summary(name, visits, levels, outlook),
        x_label="Year",
        x_kind="year",
        y_label="R_A in cd/lx/m²",
        series=[*(_curve_series(curve) if curve else ()), *_visit_series(visits)],
        levels=levels,
        spans=_spans(outlook, curve),
        marks=[Mark("now", decimal_year(today))] if today else [],
        columns=COLUMNS,
        rows=[*(each.row for each in visits), *_expected_rows(outlook, today)],
    )


@dataclass(frozen=True)
class _Visit:
    """One visit's mean of a colour with its 90 % interval."""

    day: date
    mean: float
    low: float
    high: float
    left_out: str

    @classmethod
    def of(cls, reading: ColourReading, record: SignRecord, zone: ZoneInfo) -> _Visit:
        policy = record.assessment.policy if record.assessment else None
        low, high = reading_interval(
            reading.values,
            repeatability_rel=policy.instrument_repeatability_rel
            if policy
            else ASSUMED_UNCERTAINTY.repeatability_rel,
            common_rel=policy.instrument_common_rel
            if policy
            else ASSUMED_UNCERTAINTY.common_rel,
        )
        left_out = "" if reading.not_judged in USABLE else reading.not_judged
        return cls(
            day=reading.taken_at.astimezone(zone).date(),
            mean=float(reading.mean),
            low=low,
            high=high,
            left_out="corrected since" if reading.is_corrected else left_out,
        )

    @property
    def row(self) -> tuple[str, ...]:
        """Return the visit as a row of the table."""
        what = f"read; not counted: {self.left_out}" if self.left_out else "read"
        figures = (estimate(each) for each in (self.mean, self.low, self.high))
        return (f"{self.day:%Y-%m-%d}", what, *figures, "")


def _visit_series(visits: Sequence[_Visit]) -> list[Series]:
    made = []
    for label, is_hollow, some in (
        ("read, ± 90 %", False, [each for each in visits if not each.left_out]),
        ("read, not counted", True, [each for each in visits if each.left_out]),
    ):
        if some:
            made.append(
                Series(
                    label,
                    "errors",
                    [each.mean for each in some],
                    [each.low for each in some],
                    [each.high for each in some],
                    x=[decimal_year(each.day) for each in some],
                    role="other" if is_hollow else "own",
                    is_hollow=is_hollow,
                )
            )
    return made


def _curve_series(curve: Curve) -> list[Series]:
    """Return the curve with its band; beyond the ages read both are dashed."""
    parts = []
    beyond = curve.beyond_year
    cut = next(
        (n for n, year in enumerate(curve.years) if beyond is not None and year > beyond),
        len(curve.years),
    )
    for label, start, stop, is_dashed in (
        ("expected", 0, cut, False),
        ("expected, older than any read", max(cut - 1, 0), len(curve.years), True),
    ):
        place = slice(start, stop)
        if stop - start > 1:
            words = "90 % of such signs" + (", older than any read" if is_dashed else "")
            parts.append(
                Series(
                    words,
                    "band",
                    low=curve.low_cd_lx_m2[place],
                    high=curve.high_cd_lx_m2[place],
                    x=curve.years[place],
                    role="forecast",
                    is_dashed=is_dashed,
                )
            )
            parts.append(
                Series(
                    label,
                    "line",
                    curve.ra_cd_lx_m2[place],
                    x=curve.years[place],
                    role="forecast",
                    is_dashed=is_dashed,
                )
            )
    return parts


def _levels(color: str, record: SignRecord, outlook: ColorOutlook | None) -> list[Level]:
    """Return the level the colour was judged by; else the one it was forecast against."""
    for element in record.elements:
        if element.kind == "color" and element.color == color and element.level is not None:
            if element.table_id == AGENCY_LEVEL_TABLE:
                words = f"own level {plain(element.level)}"
            else:
                mark = "" if element.is_level_verified else ", unverified"
                words = f"level {plain(element.level)}{mark}"
            return [Level(words, float(element.level))]
    if outlook and outlook.level_cd_lx_m2 is not None:
        return [Level(f"level {outlook.level_cd_lx_m2:g}", outlook.level_cd_lx_m2)]
    return []


def _spans(outlook: ColorOutlook | None, curve: Curve | None) -> list[Span]:
    if outlook is None or curve is None or outlook.due_early_on is None:
        return []
    stop = decimal_year(outlook.due_late_on) if outlook.due_late_on else curve.years[-1]
    return [Span("falls due", decimal_year(outlook.due_early_on), min(stop, curve.years[-1]))]


def _summary(
    name: str,
    visits: Sequence[_Visit],
    levels: Sequence[Level],
    outlook: ColorOutlook | None,
) -> str:
    """Say in a sentence or two what the drawing shows."""
    counted = [each for each in visits if not each.left_out]
    if counted:
        first, last = counted[0], counted[-1]
        times = "once" if len(counted) == 1 else f"{len(counted)} times"
        words = f"{name} was read {times}: {estimate(first.mean)} cd/lx/m² in {first.day.year}"
        if len(counted) > 1:
            words += f", {estimate(last.mean)} in {last.day.year}"
    elif visits:
        words = f"No reading of {name} counts"
    else:
        words = f"{name} was not read"
    if levels:
        words += f"; {levels[0].label}"
    if outlook is not None and outlook.is_forecast and outlook.level_cd_lx_m2 is not None:
        words += f". Falls below its level: {_due_words(outlook)}"
    return f"{words[0].upper()}{words[1:]}."


def _expected_rows(
    outlook: ColorOutlook | None, today: date | None
) -> list[tuple[str | None, ...]]:
    """Return what is expected now and at each year's end that the curve reaches."""
    if outlook is None or outlook.curve is None or today is None:
        return []
    curve = outlook.curve
    rows = [("now", decimal_year(today))]
    rows += [
        (f"end of {today.year + n}", float(today.year + n + 1))
        for n in range(YEAR_ENDS)
        if today.year + n + 1 <= curve.years[-1]
    ]
    return [
        (
            when,
            "expected"
            if curve.beyond_year is None or year <= curve.beyond_year
            else "expected, older than any read",
            *(estimate(each) for each in curve.at(year)),
            _share_words(curve.probability_at(year)),
        )
        for when, year in rows
    ]


def _share_words(probability: float | None) -> str | None:
    return None if probability is None else percent_words(probability)

"""What a back-test came to: the tallies put together, its sentences, and its table as text."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.engineering.forecast.backtest import HORIZON_WORDS, Rival, Tally
from inventory.engineering.forecast.cohorts import CohortKey
from inventory.engineering.forecast.scores import exact_share
from inventory.models import BackTest

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from inventory.engineering.forecast.scores import Share
    from inventory.models import Organisation

RECORDED, TAKEN = "recorded", "taken"
LEAST_COVERAGE, MOST_COVERAGE = 0.85, 0.95
FEW = 100  # readings, under which a share says little
FEW_BELOW = 20
CLOSE = 0.15  # of the number told, within which as many came
PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class Compared:
    """
    How the forecast and its rivals told one set of later readings.

    ``readings`` is the number of readings; each was told from every earlier day, so that the
    tallies count it more than once.
    """

    name: str
    readings: int
    told: dict[Rival, Tally]

    @property
    def ours(self) -> Tally:
        """Return the forecast's own tally."""
        return self.told.get(Rival.FORECAST, Tally())

    @property
    def coverage(self) -> Share:
        """Return the share within the 90 % range, with bounds for so many readings."""
        share = self.ours.coverage.share
        bounds = exact_share(round(share * self.readings), self.readings)
        return type(bounds)(bounds.count, bounds.of, share, bounds.low, bounds.high)

    @property
    def is_covered(self) -> bool:
        """Return whether 85 to 95 % of the readings fell within the range."""
        return LEAST_COVERAGE <= self.ours.coverage.share <= MOST_COVERAGE

    @property
    def is_thin(self) -> bool:
        """Return whether there are too few readings to say much."""
        return self.readings < FEW

    def against(self, rival: Rival) -> float | None:
        """Return the forecast's score as a share of a rival's; under 1 is better."""
        other = self.told.get(rival)
        if other is None or not other.crps_sum:
            return None
        return self.ours.crps_sum / other.crps_sum

    def to_json(self) -> dict[str, Any]:
        """Return it to store."""
        told = {rival.value: tally.to_json() for rival, tally in self.told.items()}
        return {"name": self.name, "readings": self.readings, "told": told}

    @classmethod
    def from_json(cls, stored: dict[str, Any]) -> Compared:
        """Return what was stored."""
        told = {Rival(name): Tally.from_json(values) for name, values in stored["told"].items()}
        return cls(stored["name"], stored["readings"], told)


@dataclass(frozen=True, slots=True)
class BackTestReport:
    """
    A back-test as far as it is.

    ``cohorts``, the most read first, are named by their keys; ``horizons`` by how far
    ahead; ``days`` by the day of forecasting. ``next_ones`` are the next readings of each sign
    alone, ``unread`` those of signs not read before. Each but the last two is of signs read
    before.
    """

    known_by: str
    done: int
    of: int
    whole: Compared | None = None
    next_ones: Compared | None = None
    unread: Compared | None = None
    cohorts: list[Compared] = field(default_factory=list)
    horizons: list[Compared] = field(default_factory=list)
    days: list[Compared] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)

    @property
    def sentence(self) -> str:
        """Return the result in one sentence."""
        if self.whole is None:
            return (
                "No later reading could be told beforehand yet: it takes signs that were read "
                "before 1 January of a year and again after it."
            )
        ours, share = self.whole.ours, self.whole.coverage
        readings = "reading" if self.whole.readings == 1 else "readings"
        days = "day" if len(self.days) == 1 else "days"
        return (
            f"Of {self.whole.readings:,} later {readings}, told {ours.count:,} times from "
            f"{len(self.days)} earlier {days}, {_percent(share.share)} fell within the 90 % "
            f"range told beforehand (95 % sure: {_percent(share.low)} to "
            f"{_percent(share.high)})."
        )

    @property
    def verdict(self) -> str:
        """Return what follows for the due dates, plainly."""
        if self.whole is None:
            return ""
        share = self.whole.ours.coverage.share
        if self.whole.is_thin:
            return (
                f"{self.whole.readings} readings say little yet; take the ranges as they are "
                "and run the back-test again next year."
            )
        if share < LEAST_COVERAGE:
            return (
                "The ranges told were too narrow: take due dates as less sure than they are "
                "shown, most of all in the cohorts marked below."
            )
        if share > MOST_COVERAGE:
            return (
                "The ranges told were wider than they had to be: due dates are surer than they "
                "are shown."
            )
        narrow = [
            f"{each.name} ({_percent(each.coverage.share)})"
            for each in self.horizons
            if not each.is_thin and each.coverage.share < LEAST_COVERAGE
        ]
        if not narrow:
            return "The ranges told may be taken at their word."
        return (
            "All in all the ranges told may be taken at their word, but they were too narrow "
            f"for readings told {' and '.join(narrow)} ahead."
        )

    @property
    def warning(self) -> str:
        """Return in a sentence that ranges did not hold 85 to 95 %; empty where they did."""
        if self.whole is None or self.whole.is_thin or self.whole.is_covered:
            return ""
        share = self.whole.ours.coverage.share
        how = "less sure" if share < LEAST_COVERAGE else "surer"
        return (
            f"Of {self.whole.readings:,} later readings {_percent(share)} fell within the "
            f"range told beforehand where 90 % should: take the due dates as {how} than they "
            "are shown."
        )

    @property
    def below_sentence(self) -> str:
        """Return how many readings were below their level against how many were told to be."""
        if self.next_ones is None or self.next_ones.ours.below < FEW_BELOW:
            return ""
        ours = self.next_ones.ours
        told, came = ours.said_below_sum, ours.below
        if came > told * (1 + CLOSE):
            what = "more than told, so due dates came too late; plan with a margin"
        elif came < told * (1 - CLOSE):
            what = "fewer than told, so due dates came early"
        else:
            what = "about as many as told"
        return (
            f"Of the next readings of each sign {came:,} were below their level where "
            f"{told:,.0f} were told to be: {what}."
        )

    @property
    def comparison(self) -> str:
        """Return how it did against the two rivals, in a sentence."""
        if self.whole is None:
            return ""
        parts = []
        for rival in (Rival.AGE_TABLE, Rival.OWN_LINE):
            share = self.whole.against(rival)
            if share is not None:
                words = "smaller" if share <= 1 else "larger"
                parts.append(
                    f"{abs(1 - share) * PERCENT:.0f} % {words} than by a {rival.words}"
                )
        bias = self.whole.ours.bias_rel * PERCENT
        way = "too high" if bias > 0 else "too low"
        return (
            f"The error score, the distance between told and read, was {' and '.join(parts)}. "
            f"On average it was told {abs(bias):.1f} % {way}."
        )


def back_test_warning(organisation: Organisation) -> str:
    """Return what the newest finished back-test warns of; empty without one or a warning."""
    test = (
        BackTest.objects.owned_by(organisation)
        .filter(finished_at__isnull=False)
        .defer("rows")
        .order_by("-started_at", "-pk")
        .first()
    )
    return "" if test is None else report_of(test).warning


def report_of(test: BackTest) -> BackTestReport:
    """Return a stored back-test as far as it is, without its rows."""
    kept = test.summary if isinstance(test.summary, dict) else {}

    def one(name: str) -> Compared | None:
        return Compared.from_json(kept[name]) if kept.get(name) else None

    def many(name: str) -> list[Compared]:
        return [Compared.from_json(each) for each in kept.get(name, [])]

    return BackTestReport(
        known_by=kept.get("known_by", RECORDED),
        done=kept.get("done", 0),
        of=len(test.cut_offs),
        whole=one("whole"),
        next_ones=one("next_ones"),
        unread=one("unread"),
        cohorts=many("cohorts"),
        horizons=many("horizons"),
        days=many("days"),
        left_out=kept.get("left_out", {}),
    )


def summary_of(rows: Sequence[dict[str, Any]], known_by: str) -> dict[str, Any]:
    """Return what is kept beside the rows, so that a page need not add them up."""
    told: list[tuple[str, dict[str, Any], list[Any]]] = [
        (row["cut_off"], cohort, each)
        for row in rows
        for cohort in row["cohorts"]
        for each in cohort["told"]
    ]
    of_read = [each for each in told if each[2][2]]
    readings: dict[str, int] = {}
    left_out: dict[str, int] = {}
    for row in rows:
        for reason, number in row["left_out"].items():
            left_out[reason] = left_out.get(reason, 0) + number
        for cohort in row["cohorts"]:
            readings[cohort["key"]] = readings.get(cohort["key"], 0) + cohort["readings"]

    def compared(name: str, chosen: Iterable[list[Any]], number: int | None = None) -> Any:
        sums: dict[Rival, Tally] = {}
        for rival_name, _horizon, _was_read, _is_next, values in chosen:
            rival = Rival(rival_name)
            sums[rival] = sums.get(rival, Tally()) + Tally.from_json(values)
        if not sums:
            return None
        count = sums[Rival.FORECAST].count
        return Compared(name, min(number or count, count), sums).to_json()

    def each_of(names: Iterable[str], place: Any, counts: dict[str, int]) -> list[Any]:
        found = (
            compared(
                name, [each[2] for each in of_read if place(each) == name], counts.get(name)
            )
            for name in names
        )
        return [each for each in found if each is not None]

    return {
        "known_by": known_by,
        "done": len(rows),
        "whole": compared("", [each for *_rest, each in of_read], sum(readings.values())),
        "next_ones": compared("", [each for *_rest, each in of_read if each[3]]),
        "unread": compared("", [each for *_rest, each in told if not each[2]]),
        "cohorts": each_of(
            sorted(readings, key=lambda key: (-readings[key], key)),
            lambda each: each[1]["key"],
            readings,
        ),
        "horizons": each_of(HORIZON_WORDS, lambda each: HORIZON_WORDS[each[2][1]], {}),
        "days": each_of([row["cut_off"] for row in rows], lambda each: each[0], {}),
        "left_out": left_out,
    }


def back_test_lines(test: BackTest) -> list[str]:
    """Return a back-test as plain text: its sentences and a table by cohort."""
    report = report_of(test)
    lines = [report.sentence]
    if report.whole is None:
        return lines
    if report.known_by == TAKEN:
        lines.append(KNOWN_WHEN_TAKEN)
    told = (report.comparison, report.verdict, report.below_sentence)
    lines += [*(each for each in told if each), ""]
    rows = [*report.cohorts, Compared("all cohorts", report.whole.readings, report.whole.told)]
    heads = (
        "cohort",
        "readings",
        "in range",
        "bias",
        "CRPS",
        "by age",
        "line",
        "below",
        "Brier",
    )
    table = [heads, *(_cells(each) for each in rows)]
    widths = [max(len(line[place]) for line in table) for place in range(len(heads))]
    for line in table:
        fitted = [
            text.ljust(width) if place == 0 else text.rjust(width)
            for place, (text, width) in enumerate(zip(line, widths, strict=True))
        ]
        lines.append("  ".join(fitted).rstrip())
    lines += [f"left out: {number:,} {reason}" for reason, number in report.left_out.items()]
    return lines


KNOWN_WHEN_TAKEN = (
    "The readings were put on record long after they were taken; each counts as known from the "
    "day it was taken."
)


def _percent(share: float) -> str:
    return f"{share * PERCENT:.1f} %"


def cohort_words(key: str) -> str:
    """Return a cohort's key in words."""
    return CohortKey.read(key).words


def _cells(each: Compared) -> tuple[str, ...]:
    def score(rival: Rival) -> str:
        tally = each.told.get(rival)
        return f"{tally.crps_cd_lx_m2:.1f}" if tally and tally.count else "-"

    ours = each.ours
    return (
        cohort_words(each.name) if "/" in each.name else each.name,
        f"{each.readings:,}",
        f"{each.coverage.share * PERCENT:.1f} %",
        f"{ours.bias_rel * PERCENT:+.1f} %",
        *(score(rival) for rival in Rival),
        f"{ours.below:,}",
        f"{ours.brier:.3f}" if ours.judged else "-",
    )

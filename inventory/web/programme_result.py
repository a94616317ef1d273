"""What came of solving a programme, as its pages say it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from inventory.interchange.council_document import amount
from inventory.web.forecast_plots import Column, Plot, Series

if TYPE_CHECKING:
    from inventory.models import Programme

RIVALS = (("worst_first", "worst first"), ("oldest_first", "oldest first"))


@dataclass(frozen=True)
class YearLine:
    """One year as the table shows it."""

    year: int
    replaced: str
    money: str
    crew_hours: str
    below: str
    below_nothing: str
    class_1_below: str


@dataclass(frozen=True)
class Rival:
    """A plain rule at the same money and hours, or the programme itself."""

    name: str
    risk_left: str
    times: str
    replaced: str
    below_at_end: str
    money: str
    is_own: bool = False


@dataclass(frozen=True)
class ResultWords:
    """The stored result of a programme in words and figures."""

    programme: Programme

    @classmethod
    def of(cls, programme: Programme) -> ResultWords | None:
        """Return the words of a programme that was solved; nothing of one that was not."""
        return cls(programme) if programme.result.get("by_year") else None

    @property
    def _result(self) -> dict[str, Any]:
        found: dict[str, Any] = self.programme.result
        return found

    @property
    def currency(self) -> str:
        return self.programme.work_basis.currency

    @property
    def years(self) -> list[dict[str, Any]]:
        """Return the figures of each year as stored."""
        found: list[dict[str, Any]] = self._result["by_year"]
        return found

    @property
    def risk_left(self) -> str:
        return amount(self._result["risk_left"])

    @property
    def risk_nothing(self) -> str:
        return amount(self._result["risk_nothing"])

    @property
    def share_left(self) -> str:
        """Return the risk left, as a share of that of doing nothing."""
        nothing = self._result["risk_nothing"]
        return f"{100 * self._result['risk_left'] / nothing:.0f} %" if nothing else "none"

    @property
    def least_risk(self) -> str:
        """Return what no plan can be better than."""
        return amount(max(self._result["risk_nothing"] - self._result["bound"], 0.0))

    @property
    def certified(self) -> str:
        """Return what is sure to be taken away, as a share of the most that can be."""
        share = self._result.get("certified_share")
        # Cut, not rounded: a plan is never said to be surer than it is.
        return "" if share is None else f"{int(share * 10_000) / 100:.2f} %"

    @property
    def bundled_after(self) -> str:
        """Return what choosing alone and putting trips together afterwards would leave."""
        alone = self._result.get("separable_bundled")
        if not alone:
            return ""
        left = amount(self._result["risk_nothing"] - alone["value"])
        return f"Choosing each sign alone and bundling the trips after would leave {left}."

    @property
    def replaced(self) -> str:
        return f"{sum(each['replaced'] for each in self.years):,}"

    @property
    def money(self) -> str:
        return self.money_words(sum(each["money"] for each in self.years))

    @property
    def class_1(self) -> str:
        """Return what is said of class 1."""
        worst = max(self.years, key=lambda each: each["class_1_below"])
        if worst["class_1_below"] < 0.05:
            return "No class 1 sign is expected below its level at any year end."
        return (
            f"Of class 1, {amount(worst['class_1_below'])} are expected below their level at "
            f"the end of {worst['year']}, the worst year for them."
        )

    @property
    def lines(self) -> list[YearLine]:
        """Return the table by year."""
        return [
            YearLine(
                each["year"],
                f"{each['replaced']:,}",
                f"{each['money']:,.0f} of {money:,.0f}",
                f"{each['crew_hours']:,.0f} of {hours:,.0f}",
                amount(each["below"]),
                amount(each["below_nothing"]),
                amount(each["class_1_below"]),
            )
            for each, money, hours in zip(
                self.years, self.programme.budget, self.programme.crew_hours, strict=True
            )
        ]

    @property
    def rivals(self) -> list[Rival]:
        """Return the programme and the rules beside it, at the same money and hours."""
        own = self._result["risk_left"]
        shown = [("this programme", self._result)]
        shown += [
            (words, self._result["rivals"][key])
            for key, words in RIVALS
            if key in self._result.get("rivals", {})
        ]
        return [
            Rival(
                name,
                amount(each["risk_left"]),
                f"{each['risk_left'] / own:.2f}" if own > 0 else "",
                f"{sum(year['replaced'] for year in each['by_year']):,}",
                amount(each["by_year"][-1]["below"]),
                f"{sum(year['money'] for year in each['by_year']):,.0f}",
                is_own=each is self._result,
            )
            for name, each in shown
        ]

    @property
    def plot(self) -> Plot:
        """Return the signs below their level by year, under each way of choosing."""
        years = [each["year"] for each in self.years]
        last = self.years[-1]
        shown = [
            Series(
                "doing nothing",
                "line",
                [each["below_nothing"] for each in self.years],
                role="other",
                is_dashed=True,
            )
        ]
        roles: tuple[Any, ...] = ("second", "third")
        shown += [
            Series(
                words,
                "line",
                [each["below"] for each in self._result["rivals"][key]["by_year"]],
                role=role,
            )
            for (key, words), role in zip(RIVALS, roles, strict=True)
            if key in self._result.get("rivals", {})
        ]
        shown.append(
            Series("this programme", "line", [each["below"] for each in self.years], role="own")
        )
        return Plot.make(
            id="below-by-year",
            title="Signs expected below their level at each year end",
            summary=(
                f"At the end of {last['year']}: {amount(last['below'])} signs below under this "
                f"programme, {amount(last['below_nothing'])} if nothing is replaced."
            ),
            x_label="Year",
            x_kind="year",
            x_values=years,
            y_label="signs",
            series=shown,
            columns=[Column("Year", is_number=False), *(Column(each.label) for each in shown)],
            rows=[
                [
                    str(year),
                    *(
                        None if each.values[at] is None else amount(each.values[at] or 0.0)
                        for each in shown
                    ),
                ]
                for at, year in enumerate(years)
            ],
        )

    @property
    def more_money(self) -> str:
        """Return what a tenth more money and hours would buy."""
        more = self._result.get("ten_percent_more")
        if not more:
            return ""
        less = self._result["risk_left"] - more["risk_left"]
        faces = more["replaced"] - sum(each["replaced"] for each in self.years)
        kind = "more" if faces >= 0 else "fewer"
        extra = 0.1 * sum(self.programme.budget)
        named = f"{abs(faces):,} {kind} sign{'' if abs(faces) == 1 else 's'} could be replaced"
        if faces == 0:
            named = "as many signs could be replaced, some of them earlier"
        return (
            f"With 10 % more money and hours each year, {self.money_words(extra)} in all, "
            f"{named}, and the risk left would be "
            f"{amount(more['risk_left'])}: {amount(max(less, 0.0))} less."
        )

    @property
    def least_budget(self) -> str:
        """Return what keeps every sign of class 1 legal."""
        least = self._result.get("least_budget_class_1")
        if not least:
            return ""
        if not any(least["yearly"]):
            return "No class 1 sign has to be replaced within these years."
        each_year = self._yearly_words([math.ceil(each) for each in least["yearly"]])
        if least.get("share") is None:
            return (
                "No money comes in time to replace every class 1 sign before it is due; the "
                f"same money each year would be enough: {each_year}."
            )
        return (
            f"{math.ceil(100 * least['share'])} % of this money is enough to replace every "
            f"class 1 sign before it is due: {each_year}."
        )

    @property
    def shortfall(self) -> str:
        """Return what is missing where the musts do not fit."""
        short = self._result.get("shortfall")
        if not short:
            return ""
        extra_money, extra_hours = short["extra_money"] or [], short["extra_hours"] or []
        parts = [
            f"{self.money_words(money)} in {year['year']}"
            for money, year in zip(extra_money, self.years, strict=False)
            if money > 0
        ]
        parts += [
            f"{hours:,.0f} crew hours in {year['year']}"
            for hours, year in zip(extra_hours, self.years, strict=False)
            if hours > 0
        ]
        needed = f" The least that is missing: {', '.join(parts)}." if parts else ""
        count = short["count"]
        signs = (
            "1 sign that must be replaced is"
            if count == 1
            else (f"{count:,} signs that must be replaced are")
        )
        return f"{signs} not, or not in time: the money and hours do not allow it.{needed}"

    @property
    def stopped(self) -> str:
        """Return what was left out because somebody asked to stop."""
        left: list[str] = self._result.get("not_reckoned") or []
        if not (left or self._is_stopped):
            return ""
        when = (
            "before the best plan was found" if self._is_stopped else "once the plan was found"
        )
        parts = [f"Stopped {when}."]
        if left:
            parts.append(f"Not reckoned: {'; '.join(left)}.")
        return " ".join([*parts, "Choose the years anew to go on."])

    @property
    def _is_stopped(self) -> bool:
        return bool(self._result.get("is_stopped"))

    @property
    def locks_against(self) -> str:
        """Return how many locked choices go against a must, or are of a year that is past."""
        parts = []
        if late := self._result.get("late_locks", 0):
            are = "choice is" if late == 1 else "choices are"
            parts.append(
                f"{late:,} locked {are} later than the sign must be replaced, or for no year."
            )
        if past := self._result.get("past_locks", 0):
            are = "choice is" if past == 1 else "choices are"
            parts.append(f"{past:,} locked {are} for a year that is past.")
        return " ".join([*parts, "They stay as they were locked."]) if parts else ""

    @property
    def missed(self) -> list[int]:
        """Return the positions that must be replaced and are not in time, the first 200."""
        short = self._result.get("shortfall") or {}
        found: list[int] = short.get("missed", [])
        return found

    @property
    def no_forecast(self) -> int:
        """Return how many signs have nothing to go by."""
        return int((self._result.get("unplanned") or {}).get("no_forecast", 0))

    @property
    def left_out(self) -> list[tuple[str, int]]:
        """Return what else is left out, by the reason, most first."""
        found: dict[str, int] = (self._result.get("unplanned") or {}).get("left_out", {})
        others = [each for each in found.items() if not each[0].startswith("no forecast")]
        return sorted(others, key=lambda each: (-each[1], each[0]))

    @property
    def assumptions(self) -> list[str]:
        found: list[str] = self._result.get("assumptions", [])
        return found

    def _yearly_words(self, yearly: list[int]) -> str:
        """Return money year by year in words: the usual sum, then the years that differ."""
        usual = max(yearly, key=yearly.count)
        others = [
            f"{self.money_words(money)} in {year['year']}"
            for money, year in zip(yearly, self.years, strict=True)
            if money != usual
        ]
        if yearly.count(usual) == 1 and others:
            pairs = zip(yearly, self.years, strict=True)
            return ", ".join(f"{self.money_words(m)} in {y['year']}" for m, y in pairs)
        return ", ".join([f"{self.money_words(usual)} a year", *others])

    def money_words(self, money: float) -> str:
        """Return money in words."""
        return f"{self.currency} {money:,.0f}"


def span_words(programme: Programme) -> str:
    """Return the years of a programme in words."""
    last = programme.first_year + programme.years - 1
    return (
        f"{programme.first_year}"
        if programme.years == 1
        else (f"{programme.first_year} to {last}")
    )

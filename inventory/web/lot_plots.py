"""What the pages say and draw of lots: how fast each loses, beside ordinary ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils.html import format_html

from inventory.web.forecast_plots import Column, Level, Plot, Series
from inventory.web.numbers import MINUS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import LotFinding, ScopedQuerySet

PERCENT = 100.0
MOST_RIVALS = 400
NARROWEST_BAND = 0.1  # per cent a year, from −0.05 to 0.05: ordinary lots hardly differ
ROWS_OF_THE_TABLE = 10
MOST_WORDS_OF_A_CHANCE = 10_000
COLUMNS = (
    Column("Lot", is_number=False),
    Column("Loses", "% a year"),
    Column("95 % from", "% a year"),
    Column("to", "% a year"),
    Column("Such faces lose", "% a year"),
    Column("Signs read"),
)


class FindingWords:
    """One finding as the pages say it; a loss is a yearly change with its sign turned."""

    def __init__(self, finding: LotFinding) -> None:
        self.finding = finding
        self.detail: dict[str, Any] = finding.detail
        usual = finding.cohort_change_per_year
        self.loss = -PERCENT * (usual + finding.effect_per_year)
        self.loss_low = -PERCENT * (usual + finding.effect_high_per_year)
        self.loss_high = -PERCENT * (usual + finding.effect_low_per_year)
        self.usual_loss = -PERCENT * usual

    @property
    def name(self) -> str:
        """Return the finding's members in words, such as 'sheeting lot L-204'."""
        words = [
            f"{_KIND_WORDS.get(each['kind'], each['kind'])} {each['name']}"
            for each in self.finding.members
        ]
        return " and ".join(words) or str(self.finding)

    @property
    def sentence(self) -> str:
        """Return the finding in a sentence."""
        return f"{self.name[:1].upper()}{self.name[1:]} {self.figures}"

    @property
    def figures(self) -> str:
        """Return how fast it loses, to put behind its name."""
        read = self.finding.sign_count
        loses = "lose" if self.is_group else "loses"
        return (
            f"{loses} {percent(self.loss)} % a year where such faces lose "
            f"{percent(self.usual_loss)} % (between {percent(self.loss_low)} and "
            f"{percent(self.loss_high)}); {read:,} sign{'' if read == 1 else 's'} read."
        )

    @property
    def loss_words(self) -> str:
        """Return how much it loses, in per cent a year."""
        return percent(self.loss)

    @property
    def range_words(self) -> str:
        """Return between which losses it lies with 95 %, in per cent a year."""
        return f"{percent(self.loss_low)} to {percent(self.loss_high)}"

    @property
    def usual_words(self) -> str:
        """Return how much such faces lose, in per cent a year."""
        return percent(self.usual_loss)

    @property
    def is_group(self) -> bool:
        """Return whether several lots always occur together."""
        return len(self.finding.members) > 1

    @property
    def is_explained(self) -> bool:
        """Return whether it stands out only by signs of another lot."""
        return bool(self.detail.get("explained_by")) and not self.finding.is_suspect

    @property
    def hangs_on_one_sign(self) -> bool:
        """Return whether it would not stand out without one single sign."""
        return bool(self.detail.get("hangs_on_one_sign"))

    @property
    def is_suspect(self) -> bool:
        """Return whether it is listed as suspect."""
        return self.finding.is_suspect

    @property
    def is_ordinary(self) -> bool:
        """Return whether nothing about it stands out."""
        return not (self.is_suspect or self.is_explained or self.hangs_on_one_sign)

    @property
    def chance(self) -> str:
        """Return how rarely an ordinary lot would look as bad, in words."""
        p_value = self.finding.p_value
        if p_value * MOST_WORDS_OF_A_CHANCE < 1:
            return f"fewer than 1 in {MOST_WORDS_OF_A_CHANCE:,} ordinary lots"
        return f"1 in {max(1, round(1 / p_value)):,} ordinary lots"

    @property
    def false_share(self) -> str:
        """Return the share of ordinary lots among those listed down to this one."""
        share = PERCENT * self.finding.q_value
        return "under 1\N{NO-BREAK SPACE}%" if share < 1 else f"{share:.0f}\N{NO-BREAK SPACE}%"

    @property
    def hidden(self) -> str:
        """Return what the test could not have found, in a sentence."""
        least = self.detail.get("smallest_excess_per_year")
        if least is None:
            return (
                "With the readings at hand it is not known which excess could be found; no "
                "verdict here means that the lot is ordinary."
            )
        return (
            f"With these readings a lot that loses {percent(PERCENT * least)} % a year more "
            "than ordinary ones is found 9 times in 10. A smaller excess mostly stays hidden."
        )

    @property
    def ordinary_span(self) -> tuple[float, float] | None:
        """Return between which losses nine in ten ordinary lots lie, where that is known."""
        low = self.detail.get("ordinary_low_per_year")
        high = self.detail.get("ordinary_high_per_year")
        if low is None or high is None:
            return None
        usual = self.finding.cohort_change_per_year
        return -PERCENT * (usual + high), -PERCENT * (usual + low)

    def row(self) -> tuple[str, str, str, str, str, str]:
        """Return the finding as a row of a table, its name leading to its page."""
        return (
            format_html(
                '<a href="{}">{}</a>', reverse("lot-page", args=(self.finding.pk,)), self.name
            ),
            percent(self.loss),
            percent(self.loss_low),
            percent(self.loss_high),
            percent(self.usual_loss),
            f"{self.finding.sign_count:,}",
        )


_KIND_WORDS = {
    "sheeting": "sheeting lot",
    "ink": "ink lot",
    "overlay": "overlay lot",
    "run": "print run",
}


def percent(value: float) -> str:
    """Return a yearly loss in per cent with the one decimal that all of them have."""
    return f"{value:.1f}".replace("-", MINUS).replace(f"{MINUS}0.0", "0.0")


def plot_of_page(lines: Sequence[FindingWords]) -> Plot:
    """Return how fast each lot of a page loses, less what such faces lose."""
    suspects = [n for n, each in enumerate(lines, 1) if each.is_suspect]
    ordinary = [n for n, each in enumerate(lines, 1) if each.is_ordinary]
    between = [n for n in range(1, len(lines) + 1) if n not in {*suspects, *ordinary}]
    return Plot.make(
        id="lots",
        title="How much faster than such faces each lot loses",
        summary=(
            "Each point is a lot of this page in the order of the list, with its range of "
            "95 %; at 0 it loses as such faces do."
        ),
        x_label="place in the list",
        y_label="% of R_A a year more than such faces",
        series=[
            *([_points("suspect", suspects, lines, "level")] if suspects else []),
            *(
                [
                    _points(
                        "stands out by other lots' signs or by one sign",
                        between,
                        lines,
                        "other",
                    )
                ]
                if between
                else []
            ),
            _points("nothing out of the ordinary", ordinary, lines, "own"),
        ],
        levels=[Level("as such faces lose", 0.0)],
        columns=COLUMNS,
        rows=[each.row() for each in lines],
        is_from_zero=False,
    )


def plot_of_rivals(words: FindingWords, rivals: ScopedQuerySet) -> Plot:
    """Return one lot among all others of its kind, the fastest first."""
    found = rivals.order_by("effect_per_year", "pk")
    count = found.count()
    kept = [FindingWords(each) for each in found[:MOST_RIVALS]]
    if all(each.finding.pk != words.finding.pk for each in kept):
        kept.append(words)
    mine = [n for n, each in enumerate(kept, 1) if each.finding.pk == words.finding.pk]
    others = [n for n, each in enumerate(kept, 1) if each.finding.pk != words.finding.pk]
    kind = _KIND_WORDS[words.finding.kind]
    place = mine[0]
    note = f"The {MOST_RIVALS} that lose fastest of {count:,}." if count > MOST_RIVALS else ""
    shown = sorted({place, *range(1, min(len(kept), ROWS_OF_THE_TABLE) + 1)})
    return Plot.make(
        id="rivals",
        title=f"This {kind} among {count:,} that were compared",
        summary=(
            f"Each point is a {kind}, the fastest to lose first. This one is number {place}; "
            f"it loses {percent(words.loss - words.usual_loss)} % a year more than such faces. "
            f"The table has the {min(len(kept), ROWS_OF_THE_TABLE)} fastest and this one."
        ),
        x_label="the fastest first",
        y_label="% of R_A a year more than such faces",
        series=[
            *_ordinary_band(words, len(kept)),
            Series(
                f"other {kind}s",
                "points",
                [kept[n - 1].loss - kept[n - 1].usual_loss for n in others],
                x=others,
                role="other",
            ),
            _points(f"this {kind}, with its range of 95 %", mine, kept, "level"),
        ],
        levels=[Level("as such faces lose", 0.0)],
        columns=COLUMNS,
        rows=[kept[n - 1].row() for n in shown],
        is_from_zero=False,
        note=note,
    )


def _ordinary_band(words: FindingWords, count: int) -> list[Series]:
    """Return the band in which nine in ten ordinary lots lie, where that is known."""
    if words.ordinary_span is None:
        return []
    low, high = (each - words.usual_loss for each in words.ordinary_span)
    if high - low < NARROWEST_BAND:
        return []
    label = f"nine in ten ordinary ones, {percent(low)} to {percent(high)}"
    ends = (0.5, count + 0.5)
    return [Series(label, "band", (), (low, low), (high, high), x=ends, role="cohort")]


def _points(
    label: str, places: Sequence[int], lines: Sequence[FindingWords], role: Any
) -> Series:
    """Return the lots at some places of a list, each with its range."""
    chosen = [lines[n - 1] for n in places]
    return Series(
        label,
        "errors",
        [each.loss - each.usual_loss for each in chosen],
        [each.loss_low - each.usual_loss for each in chosen],
        [each.loss_high - each.usual_loss for each in chosen],
        x=list(places),
        role=role,
    )

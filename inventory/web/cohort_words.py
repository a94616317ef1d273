"""What the pages say of a cohort in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.web.numbers import estimate, fixed, percent_words, plain

if TYPE_CHECKING:
    from inventory.engineering.forecast.fit import Prior
    from inventory.engineering.forecast.life import CrossingAge
    from inventory.engineering.standards.studies import DeteriorationStudy
    from inventory.models import CohortFit
    from inventory.services.forecast.cohort_pages import CohortLine, CohortView

SHAPES = {
    ("log", "linear"): "the same share each year",
    ("plain", "linear"): "the same amount each year",
    ("log", "curved"): "a share that changes with age",
    ("plain", "curved"): "an amount that changes with age",
}
FEW_SIGNS = 30  # common practice, no source: under this the prior still weighs
SCORE_DECIMALS = 3


@dataclass(frozen=True)
class CohortRow:
    """A cohort in a list, in words."""

    line: CohortLine

    @property
    def fit(self) -> CohortFit:
        """Return the stored fit."""
        return self.line.fit

    @property
    def words(self) -> str:
        """Return which faces these are."""
        return self.line.key.words

    @property
    def change(self) -> str:
        """Return the yearly change with its interval, in per cent; empty where not known."""
        change = self.line.change
        return "" if change is None else f"{_percent(change.share)} % a year"

    @property
    def change_range(self) -> str:
        """Return the 90 % interval of the yearly change."""
        change = self.line.change
        if change is None:
            return ""
        return f"{_percent(change.low)} to {_percent(change.high)} %"

    @property
    def shape(self) -> str:
        """Return how R_A changes with age, or how it may where readings do not tell."""
        words, other = SHAPES.get((self.fit.scale, self.fit.shape), ""), other_shape(self.fit)
        return f"{words} or {other}; forecasts allow for both" if other else words

    @property
    def median_life(self) -> str:
        """Return after how many years half of new signs are below; empty where not known."""
        life = self.line.life
        return "" if life is None else years_words(life.median)

    @property
    def early_life(self) -> str:
        """Return after how many years one sign in twenty is below; empty where not known."""
        life = self.line.life
        return "" if life is None or not life.early else years_words(life.early[0])

    @property
    def is_life_beyond(self) -> bool:
        """Return whether the median life is an age no sign had when it was read."""
        return self.line.life is not None and self.line.life.is_extrapolated


@dataclass(frozen=True)
class Cause:
    """One reason why readings of a cohort differ, and by how much."""

    name: str
    size: str


@dataclass(frozen=True)
class Tried:
    """One model that was tried, and how it did."""

    words: str
    result: str
    is_chosen: bool
    is_beside: bool = False


@dataclass(frozen=True)
class CohortWords:
    """What the page of a cohort says of its fit, and what it takes for granted."""

    view: CohortView
    prior: Prior

    @property
    def causes(self) -> list[Cause]:
        """Return what makes readings of a cohort differ, each as one standard deviation."""
        made = self.view.made
        if made is None:
            return []
        spread, share = made.variances, 100 / made.unit
        causes = [
            Cause("signs when new", f"{estimate(spread.sign_level_sd * share)} %"),
            Cause("their yearly change", f"{estimate(spread.sign_slope_sd * share)} % a year"),
        ]
        if spread.has_lots:
            causes += [
                Cause("lots when new", f"{estimate(spread.lot_level_sd * share)} %"),
                Cause(
                    "yearly change of lots", f"{estimate(spread.lot_slope_sd * share)} % a year"
                ),
            ]
        session_sd = getattr(spread, "session_sd", 0.0)
        if session_sd > 0:
            causes.append(
                Cause("one instrument on one day", f"{estimate(session_sd * share)} %")
            )
        causes.append(
            Cause(
                "dirt, weather, place on the face", f"{estimate(spread.residual_sd * share)} %"
            )
        )
        return causes

    @property
    def tried(self) -> list[Tried]:
        """Return the models tried, the one kept first."""
        models = self.view.line.fit.scores.get("models", [])
        best = max((each["score"] for each in models), default=0.0)
        beside = self._beside
        return [
            Tried(
                words=each["words"],
                result=_score_words(each, best),
                is_chosen=each["is_chosen"],
                is_beside=each["words"] == beside,
            )
            for each in sorted(models, key=lambda each: (not each["is_chosen"], -each["score"]))
        ]

    @property
    def _beside(self) -> str:
        """Return the way kept beside the likelier one; empty where there is none."""
        return other_shape(self.view.line.fit)

    @property
    def reason(self) -> str:
        """Return why the model was kept."""
        return str(self.view.line.fit.scores.get("reason", ""))

    @property
    def left_out(self) -> list[tuple[str, int]]:
        """Return how many readings were left out, by reason, the most first."""
        reasons = self.view.line.fit.left_out.items()
        return sorted(reasons, key=lambda each: (-each[1], each[0]))

    @property
    def lots(self) -> str:
        """Return of how many signs the sheeting lot is known; empty where not on record."""
        known = self.view.line.fit.parameters.get("lots_known")
        if not known:
            return ""
        return f"{known['signs']:,} signs of {known['lots']:,} lots"

    @property
    def levels(self) -> str:
        """Return which levels its signs have to keep, where there is more than one."""
        levels = self.view.levels
        if len(levels) < 2:
            return ""
        usual, signs = levels[0]
        others = [f"{value:g} ({count:,})" for value, count in levels[1:]]
        listed = " and ".join([", ".join(others[:-1]), others[-1]] if others[1:] else others)
        return (
            f"The ages and the life table are for {usual:g} cd/lx/m², which {signs:,} of its "
            f"signs have to keep. Others have to keep {listed}; each sign’s own due date goes "
            "by its own level."
        )

    @property
    def is_of_few_signs(self) -> bool:
        """Return whether what was taken before any reading may still weigh."""
        return self.view.line.fit.sign_count < FEW_SIGNS

    @property
    def prior_change(self) -> str:
        """Return the yearly change taken before any reading."""
        mean, spread = self.prior.slope_rel_per_year, self.prior.slope_sd_rel_per_year
        return f"{_percent(mean)} % a year, give or take {100 * spread:g} %"

    @property
    def prior_spreads(self) -> str:
        """Return how far things are taken to lie apart before any reading."""
        prior, spread = self.prior, self.prior.spread
        return (
            f"Signs {100 * spread.sign_level_sd:g} % apart when new and "
            f"{100 * spread.sign_slope_sd:g} % a year, lots "
            f"{100 * spread.lot_level_sd:g} % and {100 * spread.lot_slope_sd:g} % a year, each "
            f"within a factor of "
            f"{prior.spread_factor:g}; dirt, weather and place on the face "
            f"{100 * spread.residual_sd:g} %, within {prior.residual_factor:g}; one instrument "
            f"on one day as the rules state, within {prior.session_factor:g}; facings and "
            f"districts {100 * prior.difference_sd_rel_per_year:g} % a year. These are "
            "assumptions (common practice, no source)."
        )

    @property
    def studies(self) -> list[tuple[str, DeteriorationStudy]]:
        """Return published ranges of the same sheeting and colour, each with its words."""
        return [(_range_words(each), each) for each in self.view.studies]

    @property
    def change_ra(self) -> str:
        """Return the yearly change in R_A, to hold against what is published."""
        change = self.view.line.change
        if change is None:
            return ""
        return (
            f"{_tenths(change.ra_cd_lx_m2)} cd/lx/m² a year, between "
            f"{_tenths(change.ra_low_cd_lx_m2)} and {_tenths(change.ra_high_cd_lx_m2)} with "
            "90 %"
        )


def other_shape(fit: CohortFit) -> str:
    """Return how else R_A may change with age, where the readings do not tell."""
    other = (fit.parameters.get("other") or {}).get("fit")
    if other is None:
        return ""
    return SHAPES[other["scale"], "curved" if other["knots_years"] else "linear"]


def years_words(crossing: CrossingAge) -> str:
    """Return a life in years; one over 60 years says so."""
    return "over 60" if crossing.years is None else f"{crossing.years:.1f}"


def life_range(crossing: CrossingAge) -> str:
    """Return the 95 % bounds of a life, in years."""
    if crossing.low_years is None:
        return "with 95 % not before 60 years"
    if crossing.high_years is None:
        return f"with 95 % not before {crossing.low_years:.1f} years"
    return f"between {crossing.low_years:.1f} and {crossing.high_years:.1f} with 95 %"


def share_words(share: float) -> str:
    """Return a share of signs in per cent."""
    return "0 %" if share == 0 else percent_words(share)


def _percent(share: float) -> str:
    return fixed(100 * share, 1)


def _tenths(value: float) -> str:
    return fixed(value, 1)


def _score_words(model: dict[str, float], best: float) -> str:
    """Return how a model did in foretelling readings it had not seen."""
    short = best - model["score"]
    if short <= 0:
        return "foretold best"
    if model.get("is_chosen"):
        return "as well as the best, as far as these readings can say, and the simplest"
    error = model.get("se_against_best") or 0.0
    words = f"worse by {short:.{SCORE_DECIMALS}f} a visit"
    return f"{words} (± {error:.{SCORE_DECIMALS}f})" if error else words


def _range_words(study: DeteriorationStudy) -> str:
    low, high = study.slope_low_cd_lx_m2_per_year, study.slope_high_cd_lx_m2_per_year
    if low is None or high is None:
        return ""
    return f"{plain(low)} to {plain(high)} cd/lx/m² a year"

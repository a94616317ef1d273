"""Which model a cohort gets: the one that tells readings held back from it best."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr, stdtr

from inventory.engineering.forecast.covariates import (
    NONE,
    QUADRANT_COUNT,
    SIGNS_OF_A_DISTRICT,
    Covariates,
)
from inventory.engineering.forecast.fit import (
    SESSION_PRIOR,
    WEAK_PRIOR,
    CohortFit,
    OtherScale,
    Prior,
    Scale,
    fit_cohort,
)
from inventory.engineering.forecast.observations import Observations, TruthArray
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.engineering.forecast.spread import Search
from inventory.engineering.forecast.states import KnownOfSigns, states_now
from inventory.engineering.forecast.variances import Variances
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

MOST_SIGNS = 3_000  # the models are compared on
FURTHER_ERRORS = 2.0  # a covariate must gain, that few cohorts get one by chance
LEAST_HELD_BACK = 100  # readings, for curves and covariates to be compared
LEAST_CHANCE = 0.05  # of a scale, for forecasts to allow for it
_HALF_LOG_2PI = 0.5 * float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True)
class ModelScore:
    """
    How well one model told readings held back from it.

    ``score`` is the mean logarithm of the probability density that it gave to each reading,
    per cd/lx/m²: higher is better. ``below_best`` is how far it is under the best's, and
    ``se_against_best`` the standard error of that difference.
    """

    scale: str
    shape: str
    uses_quadrant: bool
    uses_district: bool
    score: float
    below_best: float
    se_against_best: float
    is_chosen: bool
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class ChosenFit:
    """The fit of the model chosen, what each that was tried scored, and why in plain words."""

    fit: CohortFit
    scores: tuple[ModelScore, ...]
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    """What may be chosen."""

    scale: Scale
    shape: AgeShape
    covariates: Covariates = NONE

    @property
    def words(self) -> str:
        what = "share" if self.scale is Scale.LOG else "amount"
        article = "a" if self.scale is Scale.LOG else "an"
        words = (
            f"{article} {what} that changes with age"
            if self.shape.knots_years
            else f"the same {what} each year"
        )
        more = [
            name
            for name, is_used in (
                ("facing", self.covariates.uses_quadrant),
                ("district", self.covariates.uses_district),
            )
            if is_used
        ]
        return f"{words}, apart by {' and '.join(more)}" if more else words


def choose_cohort_model(
    observations: Observations,
    *,
    prior: Prior = WEAK_PRIOR,
    session_sd: float | None = SESSION_PRIOR,
    progress: Callable[[str], None] | None = None,
) -> ChosenFit:
    """
    Return the fit of the model that tells held-back readings best, or nearly so and simpler.

    Of at most 3,000 signs, drawn by whole lots, the last reading of each is held back, and
    told from all earlier ones where its sign has some: forward, as forecasts are. On the
    logarithm of R_A and on R_A as it is a line and a curve are compared; a curve must beat the
    line by more than one standard error of the difference. Then, on the likelier scale,
    whether facing quadrants and whether districts change apart.

    Which scale is right is left open where the readings do not tell: the fit then has the
    other scale beside it, with the chance that it is the better, and forecasts are of both.
    With fewer than 100 readings to hold back nothing is compared, and each has a half: a
    visit ahead tells how readings scatter rather than how the line goes on.

    Parameters
    ----------
    observations : Observations
        Of one cohort.
    prior, session_sd, progress
        As for :func:`~inventory.engineering.forecast.fit.fit_cohort`.

    Raises
    ------
    OutOfRangeError
        If no sign of known age was read.

    References
    ----------
    .. [1] L. Breiman, J. Friedman, R. Olshen and C. Stone, *Classification and Regression
       Trees* (1984), section 3.4.3: one standard error (section number from memory).
    .. [2] T. Gneiting and A. E. Raftery (2007), Journal of the American Statistical
       Association 102, 359-378: the logarithmic score (from memory).

    Examples
    --------
    >>> few = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> chosen = choose_cohort_model(few)
    >>> chosen.fit.scale.value, chosen.fit.shape.name, round(chosen.fit.other.weight, 1)
    ('log', 'linear', 0.5)
    >>> chosen.reason
    'R_A falls by the same share each year or by the same amount each year: with 2 readings to
    hold back (100 are needed) the two are not told apart. Forecasts allow for both alike.'
    """
    tell = progress or (lambda _words: None)
    some = _sample(observations)
    trial = _Trial.make(some, prior, session_sd, tell)
    found = _compare(trial, some)
    best, other = found.best, found.other

    def fitted(model: _Model) -> CohortFit:
        return fit_cohort(
            observations,
            scale=model.scale,
            shape=model.shape,
            covariates=model.covariates,
            prior=prior,
            session_sd=session_sd,
            start=trial.found.get(model.scale),
            search=trial.search,
            progress=tell,
        )

    fit = fitted(best)
    if other is not None:
        fit = replace(fit, other=OtherScale(fitted(other), found.other_weight))
    return ChosenFit(fit, found.scores, _reason(found, trial.held_back_count))


@dataclass(frozen=True, slots=True, eq=False)
class _Compared:
    """The model chosen, and that on the other scale with its chance where that is open."""

    best: _Model
    other: _Model | None
    other_weight: float
    scores: tuple[ModelScore, ...]


def _compare(trial: "_Trial", some: Observations) -> _Compared:
    """Return what the readings held back say of each model."""
    if trial.held_back_count < LEAST_HELD_BACK:
        return _Compared(_Model(Scale.LOG, LINEAR), _Model(Scale.PLAIN, LINEAR), 0.5, ())
    shapes = [LINEAR]
    ages = trial.earlier.age_years[trial.earlier.is_age_known[trial.earlier.sign]]
    try:
        shapes.append(AgeShape.curved(ages))
    except OutOfRangeError:
        trial.tell("the ages read are too close together for a curve")
    tried: list[tuple[_Model, FloatArray]] = []
    of_scale: list[int] = []
    for scale in Scale:
        own = [
            (model, trial.scores_of(model))
            for model in (_Model(scale, shape) for shape in shapes)
        ]
        of_scale.append(len(tried) + _simplest_near_best(own))
        tried += own
    place, beside = of_scale
    weight = chance_of_better(tried[beside][1] - tried[place][1], some.session[trial.held_back])
    if weight > 0.5:
        place, beside, weight = beside, place, 1.0 - weight
    is_open = weight >= LEAST_CHANCE
    for covariates in _to_try(some):
        now = tried[place][0]
        more = _Model(now.scale, now.shape, _joined(now.covariates, covariates))
        tried.append((more, trial.scores_of(more)))
        if _is_better(tried[-1][1], tried[place][1], FURTHER_ERRORS):
            place = len(tried) - 1
    best, other = tried[place][0], tried[beside][0]
    return _Compared(
        best,
        replace(other, covariates=best.covariates) if is_open else None,
        weight,
        _scored(tried, place),
    )


def chance_of_better(gain: FloatArray, session: WholeArray) -> float:
    """
    Return how probable it is that scores are higher in the long run.

    Readings of one session err together, so that the mean gain of sessions is what varies:
    Student's t of the mean over its standard error, with as many degrees of freedom as there
    are sessions less one. With a single session nothing is told: 0.5.

    Parameters
    ----------
    gain : array of float
        How much higher each score is.
    session : array of int
        Whose each is; −1 is one of its own.

    References
    ----------
    .. [1] K.-Y. Liang and S. L. Zeger (1986), Biometrika 73, 13-22: errors of sums from the
       sums of groups (from memory).

    Examples
    --------
    >>> gain = np.array([0.2, 0.1, 0.3, -0.1, 0.2])
    >>> round(chance_of_better(gain, np.full(5, -1)), 2)
    0.95
    >>> chance_of_better(gain, np.zeros(5, dtype=int))
    0.5
    """
    alone = session < 0
    group = np.where(alone, session.max(initial=0) + 1 + np.arange(len(session)), session)
    _numbers, place = np.unique(group, return_inverse=True)
    away = np.bincount(place, gain - gain.mean())
    number = len(away)
    if number < 2:
        return 0.5
    error = float(np.sqrt((away**2).sum() * number / (number - 1))) / len(gain)
    if error == 0.0:
        return 0.5 + 0.5 * float(np.sign(gain.mean()))
    return float(stdtr(number - 1, gain.mean() / error))


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """The readings to tell: the last of each sign that was read before."""

    observations: Observations
    earlier: Observations  # without any sign's last reading
    held_back: WholeArray
    prior: Prior
    session_sd: float | None
    tell: Callable[[str], None]
    found: dict[Scale, Variances]  # the spread of the last fit on each scale
    search: Search  # how the hill bends is much the same for each, in logarithms

    @classmethod
    def make(
        cls,
        observations: Observations,
        prior: Prior,
        session_sd: float | None,
        tell: Callable[[str], None],
    ) -> "_Trial":
        sign = observations.sign
        order = np.lexsort((observations.age_years, sign))
        ends = np.flatnonzero(np.diff(sign[order], append=-1))
        last = order[ends]
        kept = np.ones(len(sign), dtype=np.bool_)
        kept[last] = False
        return cls(
            observations,
            observations.of_visits(kept),
            last[np.diff(ends, prepend=-1) > 1],
            prior,
            session_sd,
            tell,
            {},
            Search(),
        )

    @property
    def held_back_count(self) -> int:
        """Return how many readings there are to tell, 0 where nothing tells them."""
        known = self.earlier.is_age_known[self.earlier.sign]
        return len(self.held_back) if known.any() else 0

    def _start(self, scale: Scale) -> Variances | None:
        """Return where to begin: the last spread on the scale, or that of the other scale."""
        if scale in self.found or not self.found:
            return self.found.get(scale)
        middle = float(np.median(self.observations.ra_cd_lx_m2))
        (other,) = self.found.values()
        return other.times(middle if scale is Scale.PLAIN else 1.0 / middle)

    def scores_of(self, model: _Model) -> FloatArray:
        """Return the log density that a model gives to each reading held back."""
        self.tell(f"trying {model.words}")
        fit = fit_cohort(
            self.earlier,
            scale=model.scale,
            shape=model.shape,
            covariates=model.covariates,
            prior=self.prior,
            session_sd=self.session_sd,
            start=self._start(model.scale),
            search=self.search,
        )
        self.found[model.scale] = fit.variances
        return log_densities(fit, self.observations, self.held_back)


def log_densities(fit: CohortFit, observations: Observations, visits: WholeArray) -> FloatArray:
    """
    Return the log of the density that a fit gives to further readings, per cd/lx/m².

    Parameters
    ----------
    fit : CohortFit
        Of other visits of the same signs.
    observations : Observations
        With the signs of the fit, numbered alike.
    visits : array of int
        Which of its visits are told; one of a sign at most.

    Raises
    ------
    OutOfRangeError
        If the fit has no sums, being a stored one.

    Examples
    --------
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two.of_visits(np.array([True] * 3 + [False])), scale=Scale.LOG,
    ...                  shape=LINEAR)
    >>> log_densities(fit, two, np.array([3])).round(1).tolist()
    [-4.6]
    """
    if fit.grams is None:
        msg = "A stored fit has no sums of its readings; fit the cohort again."
        raise OutOfRangeError(msg)
    sign = observations.sign[visits]
    signs = KnownOfSigns.of_fit(
        fit,
        observations.lot[sign],
        observations.is_age_known[sign],
        observations.age_years[visits],
        observations.quadrant[sign],
        observations.district[sign],
    )
    states = states_now(fit, fit.grams.of_signs(sign), signs)
    share = observations.repeatability_rel[visits] * fit.unit
    variance = states.of_level + share**2 / observations.reading_count[visits]
    variance = variance + fit.variances.residual_sd**2
    mean = states.level
    if fit.sessions is not None:
        of_session, left = fit.sessions.of(
            observations.session[visits], fit.variances.session_sd
        )
        mean, variance = mean + of_session, variance + left
    elif fit.variances.session_sd:
        variance = variance + fit.variances.session_sd**2
    sd = np.sqrt(variance)
    ra = observations.ra_cd_lx_m2[visits]
    read = np.log(ra) if fit.scale is Scale.LOG else ra
    score = -0.5 * ((read - mean) / sd) ** 2 - np.log(sd) - _HALF_LOG_2PI
    # By the length of a step on the fit's scale; or by the part of the normal over 0.
    return np.asarray(score - (np.log(ra) if fit.scale is Scale.LOG else log_ndtr(mean / sd)))


def _sample(observations: Observations) -> Observations:
    """Return whole lots of the signs that were read, of at most 3,000 signs together."""
    is_read = np.zeros(observations.sign_count, dtype=np.bool_)
    is_read[observations.sign] = True
    chosen = np.flatnonzero(is_read)
    if len(chosen) > MOST_SIGNS:
        lot = observations.lot[chosen]
        alone = lot < 0
        lot = np.where(alone, lot.max() + 1 + np.arange(len(lot)), lot)
        numbers, place, sizes = np.unique(lot, return_inverse=True, return_counts=True)
        order = np.random.default_rng(0).permutation(len(numbers))
        kept = max(int(np.searchsorted(np.cumsum(sizes[order]), MOST_SIGNS, "right")), 1)
        is_drawn = np.zeros(len(numbers), dtype=np.bool_)
        is_drawn[order[:kept]] = True
        chosen = chosen[is_drawn[place]][:MOST_SIGNS]
    return observations.of_signs(_truth(chosen, observations.sign_count))


def _truth(chosen: WholeArray, number: int) -> TruthArray:
    is_chosen = np.zeros(number, dtype=np.bool_)
    is_chosen[chosen] = True
    return is_chosen


def _simplest_near_best(tried: list[tuple[_Model, FloatArray]]) -> int:
    """Return the first, they are in the order of simplicity, that no other clearly beats."""
    means = [scores.mean() for _model, scores in tried]
    best = tried[int(np.argmax(means))][1]
    for place, (_model, scores) in enumerate(tried):
        if not _is_better(best, scores):
            return place
    return int(np.argmax(means))


def _is_better(scores: FloatArray, than: FloatArray, errors: float = 1.0) -> bool:
    """Return whether scores are higher by over so many standard errors of the difference."""
    gain = scores - than
    return bool(gain.mean() > errors * gain.std(ddof=1) / np.sqrt(len(gain)))


def _to_try(observations: Observations) -> list[Covariates]:
    """Return the covariates that enough signs are known of."""
    found = []
    quadrant = observations.quadrant[observations.quadrant >= 0]
    sizes = np.bincount(quadrant, minlength=QUADRANT_COUNT)
    if (sizes >= SIGNS_OF_A_DISTRICT).sum() > 1:
        found.append(Covariates(uses_quadrant=True))
    districts = Covariates.of_districts(observations.district)
    if districts.uses_district:
        found.append(districts)
    return found


def _joined(first: Covariates, second: Covariates) -> Covariates:
    return Covariates(
        first.uses_quadrant or second.uses_quadrant,
        second.districts if second.uses_district else first.districts,
    )


def _scored(tried: list[tuple[_Model, FloatArray]], chosen: int) -> tuple[ModelScore, ...]:
    best = max((scores for _model, scores in tried), key=lambda each: float(each.mean()))
    found = []
    for place, (model, scores) in enumerate(tried):
        behind = best - scores
        found.append(
            ModelScore(
                scale=model.scale.value,
                shape=model.shape.name,
                uses_quadrant=model.covariates.uses_quadrant,
                uses_district=model.covariates.uses_district,
                score=float(scores.mean()),
                below_best=float(behind.mean()),
                se_against_best=float(behind.std(ddof=1) / np.sqrt(len(behind))),
                is_chosen=place == chosen,
                words=model.words,
            )
        )
    return tuple(found)


def _reason(found: _Compared, held_back: int) -> str:
    words = found.best.words
    if found.other is not None:
        if held_back < LEAST_HELD_BACK:
            why = (
                f"with {held_back} readings to hold back ({LEAST_HELD_BACK} are needed) the "
                "two are not told apart. Forecasts allow for both alike."
            )
        else:
            why = (
                f"{held_back:,} held-back readings do not tell which; the second has a chance "
                f"of {100 * found.other_weight:.0f} %. Forecasts allow for both."
            )
        return f"R_A falls by {words} or by {found.other.words}: {why}"
    own = next(each for each in found.scores if each.is_chosen)
    best = min(found.scores, key=lambda each: each.below_best)
    number = len(found.scores)
    if own is best:
        why = f"of {number} models it told {held_back:,} held-back readings best."
    else:
        why = (
            f"of {number} models the simplest that told {held_back:,} held-back readings as "
            f"well as any, as far as they can say ({best.words}: better by "
            f"{own.below_best:.4f} a reading, with a standard error of "
            f"{own.se_against_best:.4f})."
        )
    return f"R_A falls by {words}: {why}"

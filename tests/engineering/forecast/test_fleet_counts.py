"""How many signs cross in each year: against the forecasts, and against drawn lines."""

import numpy as np
import pytest

from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.fleet_counts import due_counts
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.errors import OutOfRangeError
from tests.engineering.forecast.fleets import in_sessions, simulated

FLEET, LEVELS, SLOPES = simulated(81, 600)
FLEET = in_sessions(FLEET, np.random.default_rng(81).integers(0, 10, len(FLEET)), 0.08, 81)
FIT = fit_cohort(FLEET, scale=Scale.LOG, shape=LINEAR)
CLASS = np.where(np.arange(600) < 200, 1, 3)


def counts_of(fit=FIT, level=120.0, first_year_end_years=0.5, **options):
    known = {
        "lot": FLEET.lot,
        "is_age_known": FLEET.is_age_known,
        "age_now_years": np.full(600, 8.0),
        "level_cd_lx_m2": np.full(600, level),
    }
    told = forecast_signs(
        fit, fit.grams, due_probability=0.2, first_year_end_years=first_year_end_years, **known
    )
    return told, due_counts(fit, told, fit.grams, safety_class=CLASS, **known, **options)


def test_the_counts_are_the_sums_of_the_signs_chances():
    told, counts = counts_of()
    assert counts.safety_class.tolist() == [1, 3]
    assert counts.signs.tolist() == [200, 400]
    for row, is_of_class in enumerate((CLASS == 1, CLASS == 3)):
        crossed = told.probability_crossed[is_of_class].sum(axis=0)
        assert counts.already[row] == pytest.approx(crossed[0], rel=1e-5)
        total = counts.already[row] + counts.expected[row].cumsum()
        assert total == pytest.approx(crossed[1:], rel=1e-5)
    assert (counts.expected >= 0).all()
    assert counts.years_ahead[:2].tolist() == [0.5, 1.5]


def test_the_shared_part_is_that_of_drawn_cohort_lines():
    # 1,500 lines drawn afresh, each sign's chance worked out again from its state and how it
    # moves with the line; class 3 alone. 64 drawn pairs know a standard deviation to some 9 %.
    from scipy.special import ndtr

    from inventory.engineering.forecast.states import KnownOfSigns, states_now

    _told, counts = counts_of()
    signs = KnownOfSigns(FLEET.lot, FLEET.is_age_known, np.full(600, 8.0), np.zeros((600, 0)))
    assert FIT.grams is not None
    states = states_now(FIT, FIT.grams, signs)
    covariance = FIT.solution.covariance
    draws = np.random.default_rng(5).multivariate_normal(np.zeros(2), covariance, 1_500)
    c, d = states.by_level, states.by_slope
    own = [
        whole - ((left @ covariance) * right).sum(axis=1)
        for whole, left, right in (
            (states.of_level, c, c),
            (states.of_both, c, d),
            (states.of_slope, d, d),
        )
    ]
    times = np.array([5.5, 6.5])
    below = []
    for t in times:
        mean = (states.level + t * states.slope)[:, None] + (c + t * d) @ draws.T
        sd = np.sqrt(own[0] + 2 * t * own[1] + t * t * own[2])[:, None]
        below.append(ndtr((np.log(120.0) - mean) / sd)[CLASS == 3].sum(axis=0))
    year = np.flatnonzero(counts.years_ahead == 6.5)[0]
    assert counts.shared_sd[1, year] == pytest.approx((below[1] - below[0]).std(), rel=0.25)
    assert counts.expected[1, year] == pytest.approx((below[1] - below[0]).mean(), rel=0.03)
    assert (counts.sd >= counts.shared_sd).all()


def test_the_true_number_lies_within_the_range_told():
    # The made lines' own crossings; 90 % of the ten years, so one or two may lie outside.
    _told, counts = counts_of(first_year_end_years=1.0)
    gap = LEVELS + 8.0 * SLOPES - np.log(120.0)
    when = np.where(gap <= 0, 0.0, gap / -SLOPES)
    mean = counts.expected.sum(axis=0)
    sd = np.sqrt(
        (counts.sd**2 - counts.shared_sd**2).sum(axis=0) + counts.shared_sd.sum(axis=0) ** 2
    )
    truth = np.histogram(when[when > 0], bins=np.arange(31.0))[0]
    inside = np.abs(truth - mean)[:10] <= 1.645 * sd[:10] + 0.5
    assert inside.sum() >= 8


def test_only_the_signs_that_count_are_counted():
    is_counted = np.arange(600) % 2 == 0
    _told, half = counts_of(is_counted=is_counted)
    _told, whole = counts_of()
    _told, none = counts_of(is_counted=np.zeros(600, bool))
    assert half.signs.tolist() == [100, 200]
    assert half.expected.sum() < whole.expected.sum()
    assert none.expected.shape == (0, 31)
    assert none.to_json() == {}


def test_what_is_stored_is_short_and_whole():
    _told, counts = counts_of()
    stored = counts.to_json()
    assert list(stored) == ["1", "3"]
    assert list(stored["3"]) == ["signs", "already", "expected", "shared_sd", "sd"]
    assert stored["3"]["signs"] == 400
    assert len(stored["3"]["expected"]) == len(counts.years_ahead) == 31


def test_a_large_cohort_is_drawn_from_and_a_curve_counted(monkeypatch):
    from inventory.engineering.forecast import fleet_counts

    curve = fit_cohort(FLEET, scale=Scale.LOG, shape=AgeShape.curved(FLEET.age_years))
    _told, all_of_them = counts_of(curve)
    monkeypatch.setattr(fleet_counts, "SIGNS_DRAWN", 300)
    _told, part = counts_of(curve)
    assert part.expected.tolist() == all_of_them.expected.tolist()
    assert part.shared_sd.sum() == pytest.approx(all_of_them.shared_sd.sum(), rel=0.15)


def test_no_line_at_all_is_refused():
    with pytest.raises(OutOfRangeError, match="0 lines were to be drawn"):
        counts_of(draws=0)

"""Lots against ordinary lots: the estimate, what is ordinary, what is listed."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import stdtr

from inventory.engineering.forecast.covariates import Covariates
from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.lot_parts import part_of_lot, weakest_p_without_a_sign
from inventory.engineering.forecast.lot_signs import LotSigns
from inventory.engineering.forecast.lot_sums import (
    Factor,
    LotCohort,
    lines_without,
    slopes_of_lots,
    sum_lots,
)
from inventory.engineering.forecast.lots import compare_lots, false_discovery
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.ordinary import STEPS, ordinary_variation
from inventory.engineering.forecast.shapes import LINEAR
from tests.engineering.forecast.lot_fleets import LotPlan, lot_cohort, lot_fleet

ORDINARY = LotPlan(lot_level_sd=0.05, lot_slope_sd=0.0025)
SMALL = LotPlan(lots=12, planted_signs=0, lot_level_sd=0.05, lot_slope_sd=0.0025)


def compared(*cohorts, factor=Factor.SHEETING):
    return compare_lots(cohorts, factor, LotSigns.gather(cohorts))


def numbered(count):
    return {"sign_id": np.arange(count), "is_installed": np.ones(count, dtype=np.bool_)}


def listed(test):
    return set(test.level[false_discovery(test.p_value) <= 0.10].tolist())


@pytest.mark.parametrize("is_curved", [False, True])
@pytest.mark.parametrize("scale", [Scale.LOG, Scale.PLAIN])
def test_a_lots_effect_is_that_of_one_great_least_squares_fit(is_curved, scale):
    # Outside: whole matrices with a column for every lot's level, one for the tested lot's
    # change, and the other lots' changes in the covariance; by numpy's solver.
    observations = lot_fleet(SMALL, 3)
    unknown = np.arange(observations.sign_count) % 7 == 0
    observations = replace(observations, lot=np.where(unknown, -1, observations.lot))
    cohort = lot_cohort(observations, is_curved=is_curved, scale=scale)
    sums = sum_lots(cohort, Factor.SHEETING)
    known_lots_alone = replace(sums, others=np.zeros_like(sums.others))
    slope_sd = 0.004
    line = lines_without(known_lots_alone, slope_sd, np.ones(len(sums.number)))
    found = slopes_of_lots(sums.sums, line)
    spread, unit = cohort.fit.variances, cohort.unit
    lot = observations.lot[observations.sign]
    kept = lot >= 0
    age, sign, lot = observations.age_years[kept], observations.sign[kept], lot[kept]
    ra = observations.ra_cd_lx_m2[kept]
    y = (np.log(ra) if scale is Scale.LOG else ra) / unit
    x = cohort.fit.shape.basis(age)
    same_sign = sign[:, None] == sign
    g = spread.sign_matrix / unit**2
    by_sign = g[0, 0] + g[0, 1] * (age[:, None] + age) + g[1, 1] * age[:, None] * age
    for place, number in enumerate(sums.number[:4]):
        is_other = (lot[:, None] == lot) & (lot[:, None] != number)
        covariance = (
            np.eye(len(y)) * (spread.residual_sd / unit) ** 2
            + same_sign * by_sign
            + is_other * slope_sd**2 * age[:, None] * age
        )
        levels = (lot[:, None] == np.unique(lot)).astype(float)
        design = np.column_stack([(lot == number) * age, x[:, 1:], levels])
        inverse = np.linalg.inv(covariance)
        precision = design.T @ inverse @ design
        estimate = np.linalg.solve(precision, design.T @ inverse @ y)
        variance = np.linalg.inv(precision)[0, 0]
        assert found.deviation[place] == pytest.approx(estimate[0], rel=1e-4, abs=1e-7)
        assert found.variance[place] == pytest.approx(variance, rel=1e-4)


def test_a_lot_worked_by_hand():
    # docs/methods/suspect_lots.md: two signs read at 0 and 4 years, sign slopes as good as
    # equal, so each sign's slope is known to 0.08·√2 ÷ 4 = 0.02828 a year, the lot's to 0.02.
    # Log R_A falls by 0.28 and 0.36 in 4 years: 0.08 a year, where the line falls by 0.05.
    two = Observations.plain(
        [0, 0, 1, 1], [0, 4, 0, 4], np.exp([5.6, 5.32, 5.6, 5.24]), lot=[0, 0]
    )
    cohort = lot_cohort(lot_fleet(SMALL, 3))
    spread = replace(
        cohort.fit.variances, residual_sd=0.08, sign_level_sd=0.15, sign_slope_sd=1e-6
    )
    by_hand = LotCohort.of(
        replace(cohort.fit, variances=replace(spread, sign_correlation=0.0)),
        two,
        sign_id=np.arange(2),
        is_installed=np.ones(2, dtype=np.bool_),
    )
    sums = sum_lots(by_hand, Factor.SHEETING)
    assert sums.information == pytest.approx(0.02**-2, rel=1e-3)
    assert sums.sums[0, 0, 1] / sums.information == pytest.approx(-0.08, rel=1e-6)
    # Ordinary lots known to differ by 0.3 % a year (the nearest step), the line to 0.1 %.
    known = np.zeros((1, len(STEPS)))
    known[0, np.argmin(np.abs(STEPS - 0.003))] = 1.0
    test = replace(compared(cohort), ordinary_chance=known)
    variance = np.array([0.02**2 + 0.001**2])
    assert test.p_of(0, np.array([-0.03]), variance)[0] == pytest.approx(0.072, abs=0.001)
    q_values = false_discovery(np.array([0.072, 0.0002, 0.4, 0.9]))
    assert q_values == pytest.approx([0.144, 0.0008, 0.533, 0.9], abs=0.001)


def test_a_lot_dim_from_its_first_day_is_not_one_that_falls_fast():
    observations = lot_fleet(replace(ORDINARY, lots=40, planted_signs=0), 5)
    before = compared(lot_cohort(observations))
    is_third = observations.lot[observations.sign] == 3
    dimmed = replace(
        observations, ra_cd_lx_m2=observations.ra_cd_lx_m2 * np.where(is_third, 0.6, 1.0)
    )
    # At the same spread of signs the test does not change at all.
    fit = lot_cohort(observations).fit
    after = compared(LotCohort.of(fit, dimmed, **numbered(dimmed.sign_count)))
    assert after.p_value == pytest.approx(before.p_value, rel=1e-6)
    place = int(np.flatnonzero(after.level == 3)[0])
    change = after.level_deviation[place] - before.level_deviation[place]
    assert change == pytest.approx(np.log(0.6), rel=1e-6)


def test_a_planted_lot_is_found_and_ordinary_ones_are_not():
    # Fixed seeds; twice the loss is 8 standard deviations out, so it is found in any fleet.
    plan = replace(ORDINARY, excess=1.0)
    false = 0
    for seed in range(3):
        test = compared(lot_cohort(lot_fleet(plan, seed)))
        assert 0 in listed(test)
        false += len(listed(test)) - 1
        place = int(np.flatnonzero(test.level == 0)[0])
        low, high = (each[place] for each in test.interval())
        assert low < -0.05 < high  # twice 5 % a year
        assert test.cohort_change_per_year[place] == pytest.approx(-0.05, abs=0.003)
    assert false <= 3  # 0.2 expected


def test_ordinary_lots_that_differ_are_not_accused():
    # 12 clean fleets of 60 lots whose losses differ by 0.8 % a year: 1.2 are expected with any
    # lot listed; more than 5 has a chance of 1 in 1,000. Ignoring the differences lists many.
    plan = LotPlan(lots=60, planted_signs=0, lot_level_sd=0.05, lot_slope_sd=0.008)
    flagged, ignoring = 0, 0
    for seed in range(12):
        test = compared(lot_cohort(lot_fleet(plan, 40 + seed)))
        flagged += bool(listed(test))
        alone = stdtr(30, test.effect_per_year / test.standard_error)
        ignoring += bool((false_discovery(alone) <= 0.10).any())
    assert flagged <= 5
    assert ignoring >= 8


def test_a_curved_decline_does_not_make_young_or_old_lots_suspect():
    plan = LotPlan(planted_signs=0, is_curved=True, lot_level_sd=0.03, lot_slope_sd=0.0015)
    observations = lot_fleet(plan, 4)
    curved = compared(lot_cohort(observations, is_curved=True))
    straight = compared(lot_cohort(observations))
    assert not listed(curved)
    # A line makes young lots look fast: what the curve is there for.
    assert np.median(straight.ordinary_sd) > 2 * np.median(curved.ordinary_sd)


def test_a_hard_sun_is_not_taken_for_a_bad_lot():
    plan = replace(ORDINARY, lots=40, planted_signs=0)
    observations = lot_fleet(plan, 6)
    district = (np.arange(observations.sign_count) % 3 == 0).astype(int)
    district[observations.lot == 3] = 1  # a whole lot went to the hard district
    harder = np.exp(-0.05 * district[observations.sign] * observations.age_years)
    observations = replace(
        observations, district=district, ra_cd_lx_m2=observations.ra_cd_lx_m2 * harder
    )
    effects = []
    for covariates in (Covariates(), Covariates.of_districts(district)):
        fit = fit_cohort(observations, scale=Scale.LOG, shape=LINEAR, covariates=covariates)
        test = compared(LotCohort.of(fit, observations, **numbered(len(district))))
        effects.append(float(test.effect_per_year[test.level == 3][0]))
    assert effects[0] < -0.02
    assert abs(effects[1]) < 0.012


def test_signs_of_unknown_age_speak_for_their_lot():
    plan = replace(ORDINARY, lots=60, excess=1.0)
    observations = lot_fleet(plan, 8)
    first = np.full(observations.sign_count, np.inf)
    np.minimum.at(first, observations.sign, observations.age_years)
    is_unknown = observations.lot == 0
    age = observations.age_years - np.where(is_unknown, first, 0.0)[observations.sign]
    hidden = replace(observations, age_years=age, is_age_known=~is_unknown)
    assert 0 in listed(compared(lot_cohort(hidden)))


def test_two_colours_of_the_same_signs_count_no_more_than_one():
    observations = lot_fleet(replace(ORDINARY, lots=30), 9)
    white = lot_cohort(observations)
    one = compared(white)
    twice = compared(white, white)
    assert twice.effect_per_year == pytest.approx(one.effect_per_year, rel=1e-4, abs=1e-6)
    assert twice.standard_error == pytest.approx(one.standard_error, rel=1e-4)
    # On other signs the second colour is news.
    others = replace(white, sign_id=white.sign_id + 100_000)
    apart = compared(white, others)
    assert apart.standard_error == pytest.approx(one.standard_error / np.sqrt(2), rel=0.05)


def test_too_few_lots_do_not_tell_what_is_ordinary():
    assert compared(lot_cohort(lot_fleet(replace(SMALL, lots=5), 2))) is None
    assert compared(lot_cohort(lot_fleet(SMALL, 2)), factor=Factor.INK) is None


def test_parts_of_a_lot_add_up_to_it():
    cohort = lot_cohort(lot_fleet(replace(ORDINARY, lots=30), 10))
    signs = LotSigns.gather([cohort])
    test = compared(cohort)
    place = int(np.flatnonzero(test.level == 0)[0])
    ids = signs.read(Factor.SHEETING, 0)
    whole = part_of_lot([cohort], test, place, ids)
    assert whole.effect_per_year == pytest.approx(test.effect_per_year[place], rel=1e-6)
    assert whole.variance == pytest.approx(test.standard_error[place] ** 2, rel=1e-6)
    assert part_of_lot([cohort], test, place, ids[:0]).variance == np.inf


def test_a_lot_that_hangs_on_one_sign_is_told_from_one_that_does_not():
    observations = lot_fleet(replace(ORDINARY, lots=40, planted_signs=0), 11)
    spoilt = int(np.flatnonzero(observations.lot == 5)[0])
    counts = np.bincount(observations.sign, minlength=observations.sign_count)
    mine = np.flatnonzero((observations.lot == 5) & (counts > 1))
    spoilt = int(mine[0])
    is_spoilt = (observations.sign == spoilt) & (observations.age_years > 3)
    observations = replace(
        observations,
        ra_cd_lx_m2=np.where(is_spoilt, 2.0, observations.ra_cd_lx_m2),  # painted over
    )
    fit = lot_cohort(lot_fleet(replace(ORDINARY, lots=40, planted_signs=0), 11)).fit
    cohort = LotCohort.of(fit, observations, **numbered(len(counts)))
    signs = LotSigns.gather([cohort])
    test = compared(cohort)
    place = int(np.flatnonzero(test.level == 5)[0])
    assert test.p_value[place] < 0.001
    assert (
        weakest_p_without_a_sign([cohort], test, place, signs.read(Factor.SHEETING, 5)) > 0.05
    )
    planted = lot_cohort(lot_fleet(replace(ORDINARY, lots=40, excess=1.0), 12))
    signs = LotSigns.gather([planted])
    test = compared(planted)
    weakest = weakest_p_without_a_sign([planted], test, 0, signs.read(Factor.SHEETING, 0))
    assert test.p_value[0] < weakest < 0.001


def test_ordinary_variation_is_found_whatever_a_few_bad_lots_do():
    draw = np.random.default_rng(1)
    variance = draw.uniform(0.001, 0.006, 400) ** 2
    deviation = draw.normal(0, np.sqrt(variance + 0.004**2))
    clean = ordinary_variation(deviation, variance, 0.004)
    assert clean.sd == pytest.approx(0.004, rel=0.15)  # 3 standard errors
    bad = np.append(deviation, np.full(12, -0.08))
    with_bad = ordinary_variation(bad, np.append(variance, np.full(12, 0.003**2)), 0.004)
    assert with_bad.sd < 1.2 * clean.sd
    plain = np.sqrt(np.mean(bad**2) - variance.mean())
    assert plain > 3 * clean.sd  # the same without bounds
    assert ordinary_variation(deviation * 0, variance, 0.004).sd == 0


def test_of_few_lots_the_ordinary_variation_is_right_on_average():
    draw = np.random.default_rng(2)
    squares = []
    for _fleet in range(300):
        variance = np.full(8, 0.002**2)
        deviation = draw.normal(0, np.sqrt(variance + 0.004**2))
        squares.append(ordinary_variation(deviation, variance, 0.004).sd ** 2)
    assert np.mean(squares) == pytest.approx(0.004**2, rel=0.25)


def test_lots_are_listed_as_in_the_paper_on_false_discovery():
    # Benjamini and Hochberg (1995), section 4.1, 15 p-values at 0.05: the first four (memory).
    p_values = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344]
    p_values += [0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]
    assert (false_discovery(np.array(p_values)) <= 0.05).sum() == 4
    assert len(false_discovery(np.zeros(0))) == 0


def test_the_smallest_excess_is_found_as_often_as_it_says():
    # Of lots with that excess, 9 in 10 are at or under the p-value.
    test = compared(lot_cohort(lot_fleet(replace(ORDINARY, lots=40), 13)))
    excess = test.smallest_excess(0, 0.001)
    draw = np.random.default_rng(3)
    total = np.hypot(test.standard_error[0], test.ordinary_sd[0])
    effect = -excess + total * draw.standard_t(60, 20_000)
    p_values = test.p_of(0, effect, np.full(len(effect), test.standard_error[0] ** 2))
    assert np.mean(p_values <= 0.001) == pytest.approx(0.9, abs=0.01)


def test_a_sign_of_unknown_age_that_was_never_read_changes_nothing():
    observations = lot_fleet(replace(ORDINARY, lots=40), 14)
    cohort = lot_cohort(observations)
    number = observations.sign_count
    longer = Observations.plain(
        observations.sign,
        observations.age_years,
        observations.ra_cd_lx_m2,
        lot=np.append(observations.lot, [0, -1]),
        is_age_known=np.append(np.ones(number, dtype=np.bool_), [False, False]),
    )
    with_unread = compared(LotCohort.of(cohort.fit, longer, **numbered(number + 2)))
    assert with_unread.p_value == pytest.approx(compared(cohort).p_value, rel=1e-9)

"""The likelihood from sums per sign: against the whole matrix, an outside program, a hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.regression.mixed_linear_model import MixedLM

from inventory.engineering.forecast.grams import sum_signs, triangle, variance_class
from inventory.engineering.forecast.likelihood import (
    CohortSums,
    eliminate,
    restricted_likelihood,
    sign_prior,
    solve_cohort,
)
from inventory.engineering.forecast.variances import Variances


def cohort(seed, signs=40, lots=6):
    """A small cohort: classes of variance, unknown ages and lots, a curve, two contrasts."""
    draw = np.random.default_rng(seed)
    sign = np.sort(np.append(np.arange(signs), draw.integers(0, signs, 2 * signs)))
    age = draw.uniform(0, 15, len(sign))
    response = 5.6 - 0.05 * age + draw.normal(0, 0.2, signs)[sign]
    response += draw.normal(0, 0.1, len(sign))
    columns = np.stack([np.ones(len(sign)), age, age**2 / 10], 1)
    known_variance = draw.choice([0.0, 0.001, 0.004], len(sign))
    is_known = draw.random(signs) < 0.7
    lot = draw.integers(-1, lots, signs)  # −1 is not known
    lot[:lots] = np.arange(lots)
    sums = sum_signs(sign, columns, response, known_variance, signs)
    group = draw.integers(0, 3, signs)
    contrasts = np.array([[0.8, 0.1], [-0.8, 0.3], [0.0, -0.4]])
    made = CohortSums(
        sums,
        is_known,
        lot,
        lots,
        np.array([0, 400.0, 0, 900.0, 0]),
        np.array([0, -0.03, 0, 0, 0]),
        group,
        contrasts,
    )
    return made, (sign, columns, response, known_variance)


SPREAD = Variances(0.09, 0.12, 0.02, -0.3, 0.04, 0.006)


def dense(spread, made, data):
    """The same from the whole variance matrix, a free level for each sign of unknown age."""
    sign, columns, response, known_variance = data
    age = columns[:, 1]
    is_known = made.is_age_known[sign]
    g01 = spread.sign_correlation * spread.sign_level_sd * spread.sign_slope_sd
    of_slope = spread.sign_slope_sd**2 * np.outer(age, age)
    of_sign = spread.sign_level_sd**2 + g01 * np.add.outer(age, age) + of_slope
    v = np.where(is_known[:, None], of_sign, of_slope) * (sign[:, None] == sign)
    lot = made.lot[sign]
    same_lot = np.where(lot >= 0, lot[:, None] == lot, sign[:, None] == sign)
    v += same_lot * (spread.lot_level_sd**2 + spread.lot_slope_sd**2 * np.outer(age, age))
    v += np.diag(spread.residual_sd**2 + variance_class(known_variance))
    free = (sign[:, None] == np.flatnonzero(~made.is_age_known)).astype(float)
    z = made.contrasts[made.group][sign] * age[:, None]
    x = np.concatenate([columns, z, free], axis=1)
    inverse = np.linalg.inv(v)
    precision = x.T @ inverse @ x
    right = x.T @ inverse @ response
    precision[:5, :5] += np.diag(made.prior_precision)
    right[:5] += made.prior_precision * made.prior_mean
    b = np.linalg.solve(precision, right)
    quadratic = response @ inverse @ response - right @ b
    quadratic += made.prior_precision @ made.prior_mean**2
    deviance = np.linalg.slogdet(v)[1] + np.linalg.slogdet(precision)[1] + quadratic
    return -0.5 * (deviance + (len(response) - x.shape[1]) * np.log(2 * np.pi)), b[:5]


@pytest.mark.parametrize(
    "spread", [SPREAD, replace(SPREAD, lot_level_sd=0.0, lot_slope_sd=0.0)]
)
def test_sums_per_sign_say_what_the_whole_matrix_says(spread):
    # The textbook form of the restricted likelihood (Patterson and Thompson 1971), with dense
    # matrices and explicit dummy columns, by other code.
    made, data = cohort(1)
    solution = solve_cohort(spread, made)
    log_likelihood, coefficients = dense(spread, made, data)
    assert solution.log_likelihood == pytest.approx(log_likelihood, rel=1e-9)
    assert solution.coefficients == pytest.approx(coefficients, rel=1e-7)


@given(
    st.integers(0, 1000),
    st.lists(st.floats(-1, 1), min_size=6, max_size=6),
    st.booleans(),
)
@settings(max_examples=20)
def test_the_gradient_is_that_of_finite_differences(seed, shift, with_lots):
    made, _data = cohort(seed)
    at = (SPREAD.to_vector() + np.array(shift))[: 6 if with_lots else 4]
    _solution, gradient = restricted_likelihood(Variances.from_vector(at), made)

    def value(vector):
        return solve_cohort(Variances.from_vector(vector), made).log_likelihood

    step = 1e-4
    differences = [
        (value(at + step * side) - value(at - step * side)) / (2 * step)
        for side in np.eye(len(at))
    ]
    assert gradient == pytest.approx(differences, rel=1e-4, abs=1e-4)


@pytest.mark.filterwarnings("ignore:The MLE may be on the boundary")
def test_statsmodels_finds_the_same_likelihood_and_fixed_effects():
    # statsmodels MixedLM (REML, random intercept and slope) at the same variances: one common
    # residual, no lots, flat priors.
    draw = np.random.default_rng(3)
    sign = np.repeat(np.arange(200), 3)
    age = draw.uniform(0, 15, 600)
    columns = np.stack([np.ones(600), age], 1)
    response = 5.6 - 0.05 * age + draw.normal(0, 0.15, 200)[sign]
    response += draw.normal(0, 0.02, 200)[sign] * age + draw.normal(0, 0.08, 600)
    peer = MixedLM(response, columns, sign, exog_re=columns).fit(reml=True, method="lbfgs")
    covariance = np.asarray(peer.cov_re)
    sds = np.sqrt(np.diag(covariance))
    spread = Variances(
        np.sqrt(peer.scale).item(),
        float(sds[0]),
        float(sds[1]),
        float(covariance[0, 1] / sds.prod()),
    )
    sums = sum_signs(sign, columns, response, np.zeros(600), 200)
    flat = np.zeros(2)
    made = CohortSums(sums, np.ones(200, bool), np.arange(200), 200, flat, flat)
    solution = solve_cohort(spread, made)
    assert solution.log_likelihood == pytest.approx(peer.llf, rel=1e-6)
    assert solution.coefficients == pytest.approx(np.asarray(peer.fe_params), rel=1e-6)
    # Its standard errors come from the Hessian with the variances in it: 2 % are allowed.
    assert np.sqrt(np.diag(solution.covariance)) == pytest.approx(peer.bse_fe, rel=0.02)


@given(st.integers(0, 1000), st.integers(1, 39))
@settings(max_examples=20)
def test_visits_added_later_and_signs_taken_in_parts_give_the_same_sums(seed, size):
    made, (sign, columns, response, known_variance) = cohort(seed)
    late = np.arange(len(sign)) % 2 == 1
    early_and_late = [
        sum_signs(sign[part], columns[part], response[part], known_variance[part], 40)
        for part in (~late, late)
    ]
    weights = 1.0 / (0.01 + made.grams.known_variance)
    whole = made.grams.per_sign(weights)
    both = early_and_late[0] + early_and_late[1]
    assert both.per_sign(1.0 / (0.01 + both.known_variance)) == pytest.approx(whole)
    parts = [
        grams.per_sign(1.0 / (0.01 + grams.known_variance))
        for _part, grams in made.grams.chunks(size)
    ]
    assert np.concatenate(parts, axis=1) == pytest.approx(whole)
    backwards = made.grams.of_signs(np.arange(40)[::-1])
    turned = backwards.per_sign(1.0 / (0.01 + backwards.known_variance))
    assert turned[:, ::-1] == pytest.approx(whole)


def test_a_known_variance_is_rounded_by_five_per_cent_at_most():
    variances = np.geomspace(1e-6, 1, 999)
    assert (np.abs(variance_class(variances) / variances - 1) <= 0.051).all()
    assert len(np.unique(variance_class(variances))) < 150
    assert len(triangle(4)) == 10


def test_a_sign_by_hand_starts_twelve_per_cent_below_its_cohort():
    # The worked example of docs/methods/forecast.md, done there on paper.
    sums = sum_signs(
        np.array([0, 0]),
        np.array([[1.0, 0.0], [1.0, 2.0]]),
        np.array([-0.1, -0.2]),
        np.zeros(2),
        1,
    )
    prior = sign_prior(Variances(0.1, 0.2, 0.01), np.array([True]))
    done = eliminate(sums.per_sign(np.array([100.0])), prior, 3)
    level, slope = (float(each[0]) for each in done.solved[2])
    assert level == pytest.approx(-0.1322, abs=5e-5)
    assert slope == pytest.approx(-0.0013, abs=5e-5)
    assert float(done.inverse[0][0]) == pytest.approx(0.004522, abs=5e-7)

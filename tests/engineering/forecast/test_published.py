"""A published mixed model with a random slope, fitted from its data."""

import csv
from pathlib import Path

import numpy as np
import pytest
import statsmodels.regression

from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.shapes import LINEAR

RESULTS = Path(statsmodels.regression.__file__).parent / "tests" / "results"


def test_the_growth_of_72_pigs_comes_out_as_published():
    # "dietox" data of the R package geepack, as shipped with statsmodels (tests/results/
    # dietox.csv): weight against week of 72 pigs. The figures are those that R's lme4 printed
    # for lmer(Weight ~ Time + (1 + Time | Pig)), REML, as written in statsmodels' own
    # tests/test_lme.py, test_dietox_slopes. No sign data with such a result was found.
    with (RESULTS / "dietox.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]  # number, weight, feed, week, pig …
    _names, pig = np.unique([row[4] for row in rows], return_inverse=True)
    week = np.array([float(row[3]) for row in rows])
    weight = np.array([float(row[1]) for row in rows])
    order = np.lexsort((week, pig))
    visits = Observations.plain(pig[order], week[order], weight[order])
    fit = fit_cohort(visits, scale=Scale.PLAIN, shape=LINEAR, prior=None)
    assert (fit.sign_count, fit.visit_count) == (72, 861)
    assert fit.coefficients == pytest.approx([15.738650, 6.939014], rel=1e-5)
    errors = np.sqrt(np.diag(fit.solution.covariance))
    assert errors == pytest.approx([0.5501253, 0.0798254], rel=1e-4)
    assert fit.variances.residual_sd**2 == pytest.approx(6.03745, rel=1e-4)
    assert fit.variances.sign_matrix.ravel() == pytest.approx(
        [19.4934552, 0.2938323, 0.2938323, 0.4160620], rel=2e-3
    )
    assert fit.solution.log_likelihood == pytest.approx(-2217.047, rel=1e-6)

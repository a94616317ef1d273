"""Readings of one colour to one result: scatter, instrument, degrees of freedom, outliers."""

import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.inspection.instrument_uncertainty import (
    ASSUMED_UNCERTAINTY,
    InstrumentUncertainty,
)
from inventory.engineering.inspection.outliers import find_outliers, grubbs_critical_value
from inventory.engineering.inspection.readings import reduce_readings
from inventory.engineering.inspection.student import (
    student_probability,
    student_quantile,
    whole_dof,
)
from inventory.engineering.inspection.uncertainty import (
    ResultColumns,
    columns_of,
    expanded_uncertainty,
    reduce_color,
    reduce_columns,
    welch_satterthwaite,
)
from inventory.errors import OutOfRangeError
from tests.engineering.assessment import plain_decision
from tests.strategies import ra_values

KNOWN = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")


def reduced(*typed, instrument=KNOWN):
    return reduce_color([Decimal(value) for value in typed], instrument)


def one(number):
    return np.array([number])


def columns(count, scatter, dof, common, total=160_000):
    return ResultColumns(one(total), one(count), one(scatter), one(dof), one(common))


# --- Degrees of freedom -----------------------------------------------------------------------


def test_the_end_gauge_of_the_guide_has_16_degrees_of_freedom():
    # JCGM 100:2008 H.1.6. Inputs read in the manual page WelchSatter of an open-source R
    # package that cites it; the results 16.7, cut down to 16, 2.92 and 93 nm are from memory.
    parts = [one(part**2) for part in (25.0, 9.7, 2.9, 16.6)]
    dof = welch_satterthwaite(parts, (18.0, 25.6, 50.0, 2.0))
    assert dof[0] == pytest.approx(16.7, abs=0.1)  # rounded inputs: 16.76
    assert whole_dof(dof).tolist() == [16]
    factor = student_quantile(0.995, dof)[0]
    assert factor == pytest.approx(2.92, abs=0.005)
    assert factor * 32 == pytest.approx(93, abs=0.5)


def test_the_product_of_three_inputs_has_19_degrees_of_freedom():
    # JCGM 100:2008 G.4.1, example: 0.25 %, 0.57 % and 0.82 % from 10, 5 and 15 observations
    # give 1.03 %, 19.0, t = 2.09 and 2.2 % (all from memory).
    parts = [one(part**2) for part in (0.25, 0.57, 0.82)]
    dof = welch_satterthwaite(parts, (9.0, 4.0, 14.0))
    assert dof[0] == pytest.approx(19.0, abs=0.05)
    assert math.sqrt(sum(parts)[0]) == pytest.approx(1.03, abs=0.005)
    assert student_quantile(0.975, dof)[0] * 1.03 == pytest.approx(2.2, abs=0.05)


# JCGM 100:2008 Table G.2, column 95 % (from memory; the same in any table of Student's t).
T_95 = {1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 6: 2.45, 10: 2.23, 20: 2.09, 50: 2.01}


@pytest.mark.parametrize(("dof", "printed"), T_95.items())
def test_the_coverage_factor_is_the_printed_t(dof, printed):
    assert student_quantile(0.975, one(float(dof)))[0] == pytest.approx(printed, abs=0.005)


# One-sided z: JCGM 106:2012 Table 1 (the values are a mathematical fact).
Z = {0.80: 0.8416, 0.90: 1.2816, 0.95: 1.6449, 0.99: 2.3263, 0.999: 3.0902}


@pytest.mark.parametrize(("probability", "printed"), Z.items())
def test_without_estimated_parts_the_quantile_is_normal(probability, printed):
    assert student_quantile(probability, one(math.inf))[0] == pytest.approx(printed, abs=5e-5)
    assert student_probability(one(printed), one(math.inf))[0] == pytest.approx(
        probability, abs=2e-5
    )


@given(
    st.lists(
        st.tuples(
            st.floats(-40, 40),
            st.one_of(st.floats(1, 50), st.floats(1, 20_000), st.just(math.inf)),
        ),
        min_size=1,
        max_size=20,
    )
)
def test_the_distribution_is_the_closed_form_of_whole_degrees_of_freedom(cases):
    # Abramowitz and Stegun 26.7.3 and 26.7.4, which a phone evaluates: to 1e-9 and better.
    deviations, dofs = (np.array(column) for column in zip(*cases, strict=True))
    found = student_probability(deviations, dofs)
    for deviation, dof, probability in zip(deviations, dofs, found, strict=True):
        expected = plain_decision.distribution_function(
            deviation, plain_decision.whole_dof(dof)
        )
        assert probability == pytest.approx(expected, abs=1e-12)


@given(st.floats(0.51, 0.9999), st.one_of(st.floats(1, 12_000), st.just(math.inf)))
def test_the_quantile_is_where_the_distribution_reaches_the_probability(probability, dof):
    deviation = student_quantile(probability, one(dof))
    assert student_probability(deviation, one(dof))[0] == pytest.approx(probability, abs=1e-10)


def test_degrees_of_freedom_are_cut_down_but_not_by_the_last_digit_of_arithmetic():
    # 3 × (1 + 0)² may come out as 2.999…; JCGM 100:2008 G.4.1 cuts 16.7 down to 16.
    dofs = np.array([1.0, 16.7, 3 * (1 - 1e-15), 9_999.99, 10_000.0, math.inf])
    assert whole_dof(dofs).tolist() == [1, 16, 3, 9_999, 0, 0]


def test_the_distribution_is_exact_next_to_the_middle_and_far_out():
    # 1/2 + t/π for one degree of freedom and small t; the tail of three falls as t⁻³.
    small = np.array([1e-9, -1e-9, 0.0])
    found = student_probability(small, np.array([1.0, 1.0, 7.0]))
    assert found.tolist() == pytest.approx(
        [0.5 + 1e-9 / math.pi, 0.5 - 1e-9 / math.pi, 0.5], abs=1e-15
    )
    far = np.array([math.inf, -math.inf, 1e200, math.inf])
    assert student_probability(far, np.array([3.0, 3.0, 3.0, math.inf])).tolist() == [
        1,
        0,
        1,
        1,
    ]


def test_nothing_estimated_leaves_the_normal_distribution():
    assert columns(4, 0.0, 3.0, 2.0).effective_dof[0] == math.inf
    assert columns(1, 4.0, math.inf, 2.0).effective_dof[0] == math.inf
    assert columns(4, 0.0, 3.0, 0.0).effective_dof[0] == math.inf


# --- One colour -------------------------------------------------------------------------------


# JCGM 100:2008 Table 1, 20 temperatures (from memory).
OBSERVED = ["96.90", "98.18", "98.25", "98.61", "99.03", "99.49", "99.56", "99.74", "99.89"]
OBSERVED += ["100.07", "100.33", "100.42", "100.68", "100.95", "101.11", "101.20", "101.57"]
OBSERVED += ["101.84", "102.36", "102.72"]


def test_mean_and_spread_are_those_of_the_guides_twenty_observations():
    # JCGM 100:2008 4.4.3: mean 100.145, s 1.489, s/√n 0.333 (from memory). Here as numbers
    # only, with an instrument that adds next to nothing.
    result = reduced(*OBSERVED, instrument=InstrumentUncertainty(1e-6, 0, 0.1, "a test"))
    assert result.mean == Fraction("100.145")
    assert result.spread_cd_lx_m2 == pytest.approx(1.489, abs=5e-4)
    assert result.standard_uncertainty_cd_lx_m2 == pytest.approx(0.333, abs=5e-4)
    assert result.scatter_dof == 19
    assert not result.is_few


def test_four_readings_by_hand():
    # s² = (4 + 0 + 1 + 1)/3 = 2; u² = 2/4 + (0.05 × 40)² = 4.5; degrees of freedom
    # 4.5² / (0.5²/3) = 243; t(0.975; 243) = 1.97 from printed tables.
    result = reduced("38", "40", "41", "41")
    assert result.mean == 40
    assert result.spread_cd_lx_m2 == pytest.approx(math.sqrt(2))
    assert result.standard_uncertainty_cd_lx_m2 == pytest.approx(math.sqrt(4.5))
    assert result.effective_dof == pytest.approx(243)
    assert result.expanded_uncertainty_cd_lx_m2 == pytest.approx(
        1.97 * math.sqrt(4.5), rel=1e-3
    )


def test_a_few_equal_values_do_not_prove_a_scatter_of_zero():
    equal = reduced("40", "40")
    assert equal.spread_cd_lx_m2 == 0
    assert equal.scatter_cd_lx_m2 == pytest.approx(0.03 * 40)
    assert equal.scatter_dof == 1


def test_the_uncertainty_does_not_jump_where_the_repeatability_takes_over():
    # 40 ± 0.848 has a standard deviation of 1.1993, ± 0.849 one of 1.2007; 3 % of 40 is 1.2.
    under, over = reduced("39.152", "40.848"), reduced("39.151", "40.849")
    assert under.spread_cd_lx_m2 < 1.2 < over.spread_cd_lx_m2
    assert over.expanded_uncertainty_cd_lx_m2 == pytest.approx(
        under.expanded_uncertainty_cd_lx_m2, rel=2e-3
    )


def test_one_reading_takes_its_scatter_from_the_agencys_statement():
    single = reduced("40")
    assert single.spread_cd_lx_m2 is None
    assert single.scatter_cd_lx_m2 == pytest.approx(4)
    assert single.scatter_dof == math.inf
    assert single.standard_uncertainty_cd_lx_m2 == pytest.approx(math.hypot(4, 2))
    # Believed to a quarter, it has 8 degrees of freedom: JCGM 100:2008 G.4.2 (from memory).
    doubted = reduced("40", instrument=replace(KNOWN, single_scatter_dof=0.5 / 0.25**2))
    assert doubted.scatter_dof == 8
    assert doubted.expanded_uncertainty_cd_lx_m2 > single.expanded_uncertainty_cd_lx_m2


def test_fewer_than_four_are_flagged_and_less_sure():
    three = reduced("38", "40", "42")
    assert three.is_few
    assert not reduced("38", "40", "41", "41").is_few
    pair = columns(2, 2.0, 1.0, 2.0)
    four = columns(4, 2.0, 3.0, 2.0)
    assert expanded_uncertainty(pair)[0] > expanded_uncertainty(four)[0]
    # Not only by √n: Student's t is wider for one degree of freedom too.
    standard = pair.standard_uncertainty_cd_lx_m2[0] / four.standard_uncertainty_cd_lx_m2[0]
    assert expanded_uncertainty(pair)[0] / expanded_uncertainty(four)[0] > standard


def test_the_part_common_to_a_session_does_not_average_out():
    many = reduced(*["39.9", "40.1"] * 500)
    assert many.standard_uncertainty_cd_lx_m2 == pytest.approx(0.05 * 40, rel=2e-3)
    assert many.standard_uncertainty_cd_lx_m2 > 0.05 * 40


def test_readings_of_nought_are_certain_of_nought_only():
    dark = reduced("0", "0.0", "0.000")
    assert dark.mean == 0
    assert dark.standard_uncertainty_cd_lx_m2 == 0
    assert dark.outliers == ()


@given(st.lists(ra_values, min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(values, random):
    shuffled = random.sample(values, len(values))
    before, after = reduce_color(values, KNOWN), reduce_color(shuffled, KNOWN)
    assert replace(before, outliers=()) == replace(after, outliers=())
    assert sorted(values[place] for place in before.outliers) == sorted(
        shuffled[place] for place in after.outliers
    )


@given(st.lists(ra_values, min_size=1, max_size=12))
def test_the_mean_is_the_exact_one(values):
    assert reduce_color(values, KNOWN).reduced == reduce_readings(values)


@given(
    st.integers(2, 900),
    st.integers(1, 100),
    st.floats(0.01, 50),
    st.floats(0, 50),
)
def test_more_readings_with_the_same_mean_and_scatter_never_widen_it(
    count, more, scatter, common
):
    before = columns(count, scatter, count - 1.0, common)
    after = columns(count + more, scatter, count + more - 1.0, common)
    assert after.standard_uncertainty_cd_lx_m2[0] <= before.standard_uncertainty_cd_lx_m2[0]
    assert expanded_uncertainty(after)[0] <= expanded_uncertainty(before)[0] * (1 + 1e-12)


@given(st.integers(2, 20), st.floats(0.01, 50), st.floats(1, 3), st.floats(0, 50))
def test_more_scatter_never_narrows_it(count, scatter, times, common):
    before = columns(count, scatter, count - 1.0, common)
    after = columns(count, scatter * times, count - 1.0, common)
    assert expanded_uncertainty(after)[0] >= expanded_uncertainty(before)[0] * (1 - 1e-12)


@given(st.lists(st.lists(ra_values, min_size=1, max_size=8), min_size=1, max_size=8))
def test_many_colours_at_once_are_each_as_one_alone(colors):
    scaled = [[int(value * 1000) for value in values] for values in colors]
    together = reduce_columns(
        np.array([sum(values) for values in scaled]),
        np.array([len(values) for values in scaled]),
        np.array([sum(value * value for value in values) for values in scaled]),
        repeatability_rel=KNOWN.repeatability_rel,
        common_rel=KNOWN.common_rel,
        single_scatter_rel=KNOWN.single_scatter_rel,
    )
    alone = columns_of([reduce_color(values, KNOWN) for values in colors])
    for name in ("total_thousandths", "count", "scatter_cd_lx_m2", "common_cd_lx_m2"):
        assert getattr(together, name).tolist() == getattr(alone, name).tolist()
    assert together.scatter_dof.tolist() == alone.scatter_dof.tolist()


# --- Outliers ---------------------------------------------------------------------------------

# 2.5 % one-sided, which is 5 % two-sided: the two-decimal table of a published adaptation of
# ASTM E178 ("Treatment of extreme values", n = 3 to 8) and of Grubbs (1969) for 9 to 12.
E178 = {
    3: 1.15,
    4: 1.48,
    5: 1.71,
    6: 1.89,
    7: 2.02,
    8: 2.13,
    9: 2.21,
    10: 2.29,
    11: 2.36,
    12: 2.41,
}


@pytest.mark.parametrize(("count", "printed"), E178.items())
def test_the_critical_values_are_the_printed_ones(count, printed):
    # 0.006: the table prints 1.71 for 1.715.
    assert grubbs_critical_value(count) == pytest.approx(printed, abs=0.006)


def test_the_handbooks_mass_spectrometer_has_one_outlier():
    # NIST/SEMATECH e-Handbook 1.3.5.17.1: 245.57 stands out, critical value 2.032 for the
    # upper side at 5 % (data and results from memory).
    measured = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    assert grubbs_critical_value(8, significance=0.10) == pytest.approx(2.032, abs=5e-4)
    spread = float(np.std(measured, ddof=1))
    assert (245.57 - np.mean(measured)) / spread == pytest.approx(2.4687, abs=5e-4)
    result = reduced(*(str(value) for value in measured))
    assert result.spread_cd_lx_m2 == pytest.approx(spread)
    assert result.outliers == (7,)


def test_an_outlier_is_flagged_and_stays_in_the_mean():
    result = reduced("50", "51", "50.5", "49.5", "80")
    assert result.outliers == (4,)
    assert result.mean == Fraction("56.2")


def test_readings_closer_than_the_instrument_repeats_itself_are_no_outliers():
    # In standard deviations 50.1 is the largest that four values allow, 1.5 of 1.481; 3 % of
    # 50 is 1.5 cd/lx/m².
    assert reduced("50", "50", "50", "50.1").outliers == ()
    assert reduced("50", "50", "50", "60").outliers == (3,)


def test_two_readings_have_no_outlier():
    assert reduced("10", "90").outliers == ()
    assert find_outliers([10_000], 1.0) == ()
    with pytest.raises(OutOfRangeError, match="2 values cannot show an outlier"):
        grubbs_critical_value(2)


# --- Bad input --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_figures", "said"),
    [
        ((-0.01, 0.05, 0.1), "repeatability is -0.01 of the reading; it is a share from 0"),
        ((3, 0.05, 0.1), "5 % is written 0.05"),
        ((0.03, 0.51, 0.1), "part common to a session is 0.51"),
        ((0.03, math.nan, 0.1), "part common to a session is nan"),
        ((0.03, 0.05, math.inf), "scatter of a single reading is inf"),
        ((0, 0, 0.1), "no instrument reads without uncertainty"),
        ((0.03, 0.05, 0.02), "not less than the repeatability"),
        ((0, 0.05, 0), "it is over 0"),
    ],
)
def test_figures_that_cannot_be_are_refused(given_figures, said):
    repeatability, common, single = given_figures
    with pytest.raises(OutOfRangeError, match=said):
        InstrumentUncertainty(repeatability, common, single, "a test")


@pytest.mark.parametrize("basis", ["", "  ", "\n"])
def test_figures_without_a_basis_are_refused(basis):
    with pytest.raises(OutOfRangeError, match="has no basis"):
        InstrumentUncertainty(0.03, 0.05, 0.1, basis)


@pytest.mark.parametrize("dof", [0, 0.99, -1, math.nan])
def test_degrees_of_freedom_are_one_or_more(dof):
    with pytest.raises(OutOfRangeError, match="degrees of freedom"):
        InstrumentUncertainty(0.03, 0.05, 0.1, "a test", dof)


def test_the_bounds_themselves_are_allowed():
    assert InstrumentUncertainty(0.5, 0.5, 0.5, "a test", 1).single_scatter_dof == 1
    assert InstrumentUncertainty(0, 0.01, 0.01, "a test").repeatability_rel == 0


def test_what_is_shipped_says_that_it_is_an_assumption():
    assert "assumption" in ASSUMED_UNCERTAINTY.basis
    assert "not a published figure" in ASSUMED_UNCERTAINTY.basis


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ([], "There are 0 readings"),
        (["40"] * 1001, "There are 1001 readings"),
        (["40", "-1"], "-1 cd/lx/m² is not from 0 to 2000"),
        (["40", "2000.001"], "2000 cd/lx/m² is not from 0 to 2000"),
        (["40.0001"], "more than 3 decimals"),
    ],
)
def test_readings_that_cannot_be_are_refused(typed, said):
    with pytest.raises(OutOfRangeError, match=said):
        reduced(*typed)


def test_columns_of_unequal_length_or_impossible_values_are_refused():
    with pytest.raises(OutOfRangeError, match="2 values of scatter for 1 counts"):
        ResultColumns(one(1), one(1), np.array([1.0, 2.0]), one(1.0), one(0.0))
    with pytest.raises(OutOfRangeError, match="count of colour 0 is 0; it is 1 to 1000"):
        columns(0, 1.0, 1.0, 0.0)
    with pytest.raises(OutOfRangeError, match="scatter of colour 0 is inf"):
        columns(1, math.inf, 1.0, 0.0)
    with pytest.raises(OutOfRangeError, match="degrees of freedom of colour 0 is"):
        columns(1, 1.0, 0.5, 0.0)
    with pytest.raises(OutOfRangeError, match="common part of colour 0 is nan"):
        columns(1, 1.0, 1.0, math.nan)
    with pytest.raises(OutOfRangeError, match="total of colour 0 is -1"):
        columns(1, 1.0, 1.0, 0.0, total=-1)

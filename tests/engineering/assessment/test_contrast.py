"""Contrast ratios: the shared instrument error, Fieller's interval, verdicts of both rules."""

import math
from dataclasses import fields, replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.assessment.contrast import (
    decide_contrast,
    decide_contrasts,
    fieller_interval,
)
from inventory.engineering.assessment.decision import (
    NEVER_SETTLED,
    SIMPLE_ACCEPTANCE,
    DecisionColumns,
    DecisionRule,
)
from inventory.engineering.assessment.vocabulary import WORST_FIRST, Verdict
from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
from inventory.engineering.inspection.uncertainty import ResultColumns, reduce_color
from inventory.errors import OutOfRangeError
from tests.engineering.assessment import plain_decision

KNOWN = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
GUARD = DecisionRule(0.95)
THREE = 3000

rules = st.one_of(st.none(), st.floats(0.51, 0.9999)).map(DecisionRule)


def results(highest):
    """Total, count, scatter, its degrees of freedom, common part."""
    return st.builds(
        lambda mean, count, scatter, common: (
            mean * count,
            count,
            scatter * mean / 1000,
            max(1.0, count - 1.0),
            common * mean / 1000,
        ),
        st.integers(0, highest),
        st.integers(1, 10),
        st.one_of(st.just(0.0), st.floats(0.001, 1)),
        st.one_of(st.just(0.0), st.floats(0.001, 0.5)),
    )


faces = st.tuples(results(120_000), results(40_000), st.booleans()).filter(
    lambda face: face[0][0] or face[1][0]
)


def one(number):
    return np.array([number])


def columns(*rows):
    total, count, scatter, dof, common = (
        np.array(column) for column in zip(*rows, strict=True)
    )
    return ResultColumns(total, count, scatter, dof, common)


def decided(white, red, rule, is_shared=True, ratio=THREE):
    return decide_contrasts(columns(white), columns(red), one(ratio), one(is_shared), rule).row(
        0
    )


def read(*typed, instrument=KNOWN):
    return reduce_color([Decimal(value) for value in typed], instrument)


# --- Fieller's interval -----------------------------------------------------------------------


def interval(*figures):
    low, high = fieller_interval(*(one(float(figure)) for figure in figures))
    return low[0], high[0]


# The regression test of an open-source package (DCSTATS, tests/test_fieller.py, read in two
# versions): 14 ± 3 over 7 ± 2, uncorrelated, t of ten degrees of freedom at 95 % and at 90 %.
@pytest.mark.parametrize(
    ("factor", "low", "high"), [(2.228139, 0.889734, 5.836045), (1.812461, 1.051413, 4.414296)]
)
def test_the_interval_is_that_of_a_published_package(factor, low, high):
    assert interval(14, 7, 9, 4, 0, factor) == pytest.approx((low, high), abs=1e-5)


def test_a_shared_error_narrows_the_interval_by_hand():
    # W = 60, R = 20, variances 10 and 2, covariance 3, factor 2: (400 − 8)k² − 2(1200 − 12)k
    # + (3600 − 40) = 0, so k = (1188 ± √(1188² − 392·3560)) / 392 = (1188 ± 125.79) / 392.
    low, high = interval(60, 20, 10, 2, 3, 2)
    root = math.sqrt(1188**2 - 392 * 3560)
    assert (low, high) == pytest.approx(((1188 - root) / 392, (1188 + root) / 392))
    assert (low, high) == pytest.approx((2.7097, 3.3515), abs=5e-5)
    apart_low, apart_high = interval(60, 20, 10, 2, 0, 2)
    assert apart_low < low < 3 < high < apart_high


def test_a_red_not_clear_of_nought_leaves_the_ratio_without_an_upper_bound():
    # 60 ± 5 over 2 ± 3 at two standard uncertainties: at least c/(b + √(b² − ac)) with
    # a = 4 − 36 = −32, b = 120, c = 3600 − 100 = 3500: 3500/(120 + 355.5) = 7.36.
    low, high = interval(60, 2, 25, 9, 0, 2)
    assert low == pytest.approx(3500 / (120 + math.sqrt(120**2 + 32 * 3500)))
    assert low == pytest.approx(7.36, abs=0.005)
    assert high == math.inf
    # Neither clear of nought: nothing is known.
    assert interval(4, 2, 25, 9, 0, 2) == (0, math.inf)


def test_a_white_not_clear_of_nought_starts_the_interval_at_nought():
    low, high = interval(4, 20, 25, 1, 0, 2)
    assert low == 0
    assert 4 / 20 < high < 1


def test_certain_quantities_have_an_interval_without_width():
    assert interval(60, 20, 0, 0, 0, 2) == (3, 3)
    # A red of 0, certain as a share of nothing is, bounds nothing.
    assert interval(60, 0, 4, 0, 0, 2) == (0, math.inf)


@given(
    st.floats(1, 200),
    st.floats(1, 60),
    st.floats(0.01, 0.4),
    st.floats(0.01, 0.4),
    st.floats(0, 1),
    st.floats(0.5, 4),
)
def test_the_bounds_are_where_the_difference_is_just_as_large_as_its_uncertainty(
    white, red, white_share, red_share, correlation, factor
):
    white_u, red_u = white * white_share, red * red_share
    covariance = correlation * white_u * red_u
    for bound in interval(white, red, white_u**2, red_u**2, covariance, factor):
        if 0 < bound < math.inf:
            variance = white_u**2 + bound**2 * red_u**2 - 2 * bound * covariance
            scale = white**2 + (bound * red) ** 2
            assert (white - bound * red) ** 2 == pytest.approx(
                factor**2 * variance, abs=1e-9 * scale
            )


# --- Verdicts ---------------------------------------------------------------------------------


def test_a_contrast_by_hand():
    # White 60, red 15, four readings of s = 2 each, 8 % in common: d = 60 − 45 = 15,
    # u² = 1 + 9·1 + (4.8 − 3·1.2)² = 11.44, degrees of freedom 11.44²/((1 + 81)/3) = 4.79,
    # cut down to 4; t(0.95; 4) = 2.132 and t(0.975; 4) = 2.776 from printed tables.
    white, red = (240_000, 4, 2.0, 3.0, 4.8), (60_000, 4, 2.0, 3.0, 1.2)
    decision = decided(white, red, GUARD).decision
    assert decision.verdict is Verdict.MEETS
    assert decision.standard_uncertainty_cd_lx_m2 == pytest.approx(math.sqrt(11.44))
    assert decision.effective_dof == pytest.approx(4.788, abs=5e-4)
    assert decision.guard_cd_lx_m2 == pytest.approx(2.132 * math.sqrt(11.44), abs=2e-3)
    assert decision.expanded_uncertainty_cd_lx_m2 == pytest.approx(
        2.776 * math.sqrt(11.44), abs=2e-3
    )
    # Read with two instruments nothing cancels: u² = 10 + 4.8² + 3.6² = 46.
    apart = decided(white, red, GUARD, is_shared=False).decision
    assert apart.standard_uncertainty_cd_lx_m2 == pytest.approx(math.sqrt(46))
    assert apart.verdict is Verdict.MEETS  # 15 against 1.65 × 6.78


@pytest.mark.parametrize(
    ("white", "red", "expected"),
    [
        ("299.7", "99.9", Verdict.MEETS),
        ("299.699", "99.9", Verdict.BELOW),
        ("40", "15", Verdict.BELOW),
        ("35", "7", Verdict.MEETS),
        ("5", "0", Verdict.MEETS),
    ],
)
def test_simple_acceptance_compares_the_decimals_as_they_were_typed(white, red, expected):
    decision = decide_contrast(
        read(white), read(red), THREE, SIMPLE_ACCEPTANCE, is_shared=True
    ).decision
    assert decision.verdict is expected
    assert decision.further_words == ""


def test_a_red_not_clear_of_nought_is_undecided_under_a_guard_only():
    white, red = (240_000, 4, 2.0, 3.0, 4.8), (4_000, 4, 2.0, 3.0, 0.08)
    guarded = decided(white, red, GUARD)
    assert guarded.decision.verdict is Verdict.UNDECIDED
    assert not guarded.is_bounded
    assert guarded.ratio_lower > 3
    assert decided(white, red, SIMPLE_ACCEPTANCE).decision.verdict is Verdict.MEETS
    # Red 1 needs 1 > t²·(4/n + 0.08²): with t = 1.648 (550 degrees of freedom) 1.0045 for
    # n = 11, with t = 1.647 (701) 0.92 for n = 12.
    assert guarded.decision.further_readings == 8
    # No reading of red but nought ever shows a red.
    dark = decided(white, (0, 4, 0.0, 3.0, 0.0), GUARD).decision
    assert (dark.verdict, dark.further_readings) == (Verdict.UNDECIDED, NEVER_SETTLED)
    assert decided(white, (0, 4, 0.0, 3.0, 0.0), SIMPLE_ACCEPTANCE).decision.verdict is (
        Verdict.MEETS
    )


@given(faces, rules)
def test_verdict_and_interval_say_the_same(face, rule):
    # 95 % two-sided is 97.5 % one-sided: meets only where the whole interval is at or over 3.
    white, red, is_shared = face
    found = decided(white, red, DecisionRule(0.975), is_shared)
    if found.decision.verdict is Verdict.MEETS:
        assert found.ratio_lower >= 3 - 1e-9
        assert found.is_bounded
    elif found.decision.verdict is Verdict.BELOW:
        assert found.ratio_upper <= 3 + 1e-9
    elif found.is_bounded:
        assert found.ratio_lower - 1e-9 <= 3 <= found.ratio_upper + 1e-9
    simple = decided(white, red, SIMPLE_ACCEPTANCE, is_shared).decision
    assert simple.verdict is not Verdict.UNDECIDED
    assert decided(white, red, rule, is_shared).decision.verdict in (
        simple.verdict,
        Verdict.UNDECIDED,
    )


@given(faces, st.floats(1, 20))
def test_a_larger_uncertainty_moves_the_probability_towards_one_half(face, times):
    def larger(result):
        total, count, scatter, dof, common = result
        return (total, count, scatter * times, dof, common * times)

    white, red, is_shared = face
    before = decided(white, red, GUARD, is_shared).decision.probability
    after = decided(larger(white), larger(red), GUARD, is_shared).decision.probability
    # Next to certainty (u of 0, or of the last digit only) rounding alone decides the sign.
    assert abs(after - 0.5) <= abs(before - 0.5) + 1e-9


@given(faces, st.integers(1, 50_000), rules)
def test_a_brighter_white_as_sure_as_before_is_never_worse(face, step, rule):
    white, red, is_shared = face
    brighter = (white[0] + step * white[1], *white[1:])
    before = decided(white, red, rule, is_shared).decision
    after = decided(brighter, red, rule, is_shared).decision
    assert WORST_FIRST.index(after.verdict) >= WORST_FIRST.index(before.verdict)
    assert after.probability >= before.probability


@given(st.lists(faces, min_size=1, max_size=8), rules)
def test_many_at_once_are_each_judged_as_one_alone(cases, rule):
    whites, reds, shared = zip(*cases, strict=True)
    together = decide_contrasts(
        columns(*whites), columns(*reds), np.full(len(cases), THREE), np.array(shared), rule
    )
    for place, (white, red, is_shared) in enumerate(cases):
        assert together.row(place) == decided(white, red, rule, is_shared)


@given(faces, st.one_of(st.none(), st.sampled_from([0.8, 0.95, 0.99])))
def test_it_agrees_with_the_rule_written_out_in_plain_python(face, required):
    white, red, is_shared = face
    decision = decided(white, red, DecisionRule(required), is_shared).decision
    verdict, probability, expanded, guard, further = plain_decision.judge_contrast(
        white, red, THREE, required, is_shared
    )
    assert decision.probability == pytest.approx(probability, abs=1e-9)
    assert decision.expanded_uncertainty_cd_lx_m2 == pytest.approx(expanded, rel=1e-9)
    assert decision.guard_cd_lx_m2 == pytest.approx(guard, rel=1e-9)
    margin = abs(white[0] / (white[1] * 1000) - 3 * red[0] / (red[1] * 1000))
    if required is not None and guard > 0 and math.isclose(margin, guard, rel_tol=1e-9):
        return  # on the edge of the guard the two may round apart
    assert (decision.verdict.value, decision.further_readings) == (verdict, further)


@given(faces, st.floats(0.51, 0.999))
def test_as_many_further_readings_as_named_settle_it(face, required):
    white, red, is_shared = face
    rule = DecisionRule(required)
    number = decided(white, red, rule, is_shared).decision.further_readings
    if not 1 <= number <= 30:
        return

    def verdict_with(more):
        def larger(result):
            total, count, scatter, _, common = result
            return (
                total // count * (count + more),
                count + more,
                scatter,
                count + more - 1.0,
                common,
            )

        return decided(larger(white), larger(red), rule, is_shared).decision.verdict

    assert verdict_with(number) is not Verdict.UNDECIDED
    assert all(verdict_with(more) is Verdict.UNDECIDED for more in range(1, number))


# --- The measurement itself, played through ---------------------------------------------------


def played(*, really_shared, taken_as_shared, seed):
    """How often faces of white 60 and red 20, exactly 3:1, are found to meet, to be below."""
    rng = np.random.default_rng(seed)
    number, common, scatter = 200_000, 0.08, 0.03
    errors = rng.standard_normal((2, number, 1))
    if really_shared:
        errors[1] = errors[0]
    colors = []
    for true, error in zip((60, 20), errors, strict=True):
        values = true * (1 + common * error + scatter * rng.standard_normal((number, 4)))
        thousandths = np.rint(values * 1000).astype(np.int64)
        total = thousandths.sum(axis=1)
        spread = thousandths.std(axis=1, ddof=1) / 1000
        dof, count = np.full(number, 3.0), np.full(number, 4)
        colors.append(ResultColumns(total, count, spread, dof, common * total / 4000))
    white, red = colors
    shared = np.full(number, taken_as_shared)
    found = decide_contrasts(white, red, np.full(number, THREE), shared, GUARD)
    codes = np.bincount(found.decisions.verdict_code, minlength=len(WORST_FIRST)) / number
    return codes[WORST_FIRST.index(Verdict.MEETS)], codes[WORST_FIRST.index(Verdict.BELOW)]


def test_faces_of_exactly_three_to_one_are_decided_wrongly_as_often_as_allowed():
    # Shared: the 8 % cancel, 5 % are left on either side; the effective degrees of freedom
    # of two scatters are an approximation, and cut down (4 to 5 %).
    meets, below = played(really_shared=True, taken_as_shared=True, seed=5)
    assert 0.035 < meets < 0.055
    assert 0.035 < below < 0.055
    # Two instruments: nothing cancels, and the 8 % are part of what decides.
    meets, below = played(really_shared=False, taken_as_shared=False, seed=6)
    assert 0.04 < meets < 0.06
    assert 0.04 < below < 0.06


def test_taking_the_error_as_shared_or_not_matters():
    # Shared but judged as apart: next to nothing is ever decided.
    meets, below = played(really_shared=True, taken_as_shared=False, seed=7)
    assert max(meets, below) < 0.001
    # Apart but judged as shared: far more is decided wrongly than allowed.
    meets, below = played(really_shared=False, taken_as_shared=True, seed=8)
    assert min(meets, below) > 0.2


# --- Bad input --------------------------------------------------------------------------------


def test_nought_over_nought_is_refused():
    with pytest.raises(OutOfRangeError, match="nought over nought is no ratio"):
        decide_contrast(read("0"), read("0.000"), THREE, GUARD, is_shared=True)


def test_columns_that_do_not_go_together_are_refused():
    white = columns((240_000, 4, 2.0, 3.0, 4.8))
    two = columns((240_000, 4, 2.0, 3.0, 4.8), (60_000, 4, 2.0, 3.0, 1.2))
    with pytest.raises(OutOfRangeError, match="1 whites and 2 reds"):
        decide_contrasts(white, two, one(THREE), one(True), GUARD)
    with pytest.raises(OutOfRangeError, match="2 levels for 1 results"):
        decide_contrasts(white, white, np.array([THREE, THREE]), one(True), GUARD)
    with pytest.raises(OutOfRangeError, match="level of result 0 is -3"):
        decide_contrasts(white, white, one(-THREE), one(True), GUARD)


def test_every_figure_of_a_decision_is_a_column():
    found = decide_contrasts(
        columns((240_000, 4, 2.0, 3.0, 4.8)),
        columns((60_000, 4, 2.0, 3.0, 1.2)),
        one(THREE),
        one(True),
        replace(GUARD),
    )
    assert {len(getattr(found.decisions, field.name)) for field in fields(DecisionColumns)} == {
        1
    }

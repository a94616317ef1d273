"""What must hold of every verdict, whatever the face and whatever was read."""

import json
from dataclasses import replace
from decimal import Decimal
from random import Random

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.assessment.assess import assess_face, assess_faces
from inventory.engineering.assessment.batch import ElementInput, compare_many, reduce_many
from inventory.engineering.assessment.compare import meets_contrast, meets_level
from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE
from inventory.engineering.assessment.face import select_readings
from inventory.engineering.assessment.judge import judge_element
from inventory.engineering.assessment.plan import plan_face
from inventory.engineering.assessment.record import facts_of, from_facts
from inventory.engineering.assessment.vocabulary import WORST_FIRST, Verdict, worst_verdict
from inventory.engineering.inspection.readings import parse_reading
from inventory.engineering.standards.vocabulary import Color
from tests.engineering.assessment.faces import RULES, catalogued, read
from tests.strategies import (
    faces,
    faces_with_readings,
    ra_values,
    reading_sets,
    rules,
    simple_rules,
)

raises = st.integers(1, 200_000).map(lambda thousandths: Decimal(thousandths) / 1000)


def raised(readings, index, position, step):
    """The same readings with one value of one colour raised."""
    chosen = readings[index % len(readings)]
    values = list(chosen.values)
    values[position % len(values)] += step
    brighter = replace(chosen, values=tuple(values))
    return chosen.color, [brighter if one is chosen else one for one in readings]


def is_no_worse(before, after):
    return WORST_FIRST.index(after) >= WORST_FIRST.index(before)


@given(faces_with_readings(), simple_rules, st.integers(0, 9), st.integers(0, 9), raises)
def test_raising_a_reading_of_any_colour_but_red_never_worsens_a_verdict_by_simple_acceptance(
    face_and_readings, rule, index, position, step
):
    # Red alone can worsen something by being raised: it divides the contrast of white on red.
    # Under a guard one value far above the others also makes the mean less sure.
    face, readings = face_and_readings
    if not readings:
        return
    color, brighter = raised(readings, index, position, step)
    before, after = assess_face(face, readings, rule), assess_face(face, brighter, rule)
    if color is not Color.RED:
        assert is_no_worse(before.verdict, after.verdict)
    for one, other in zip(before.elements, after.elements, strict=True):
        assert one.color == other.color
        if color is not Color.RED or one.color == "red":
            assert is_no_worse(one.verdict, other.verdict)


def test_raising_red_can_worsen_the_contrast():
    stop = catalogued("R1-1")
    before = assess_face(stop, [read("white", "40"), read("red", "10")], RULES)
    after = assess_face(stop, [read("white", "40"), read("red", "14")], RULES)
    assert (before.verdict, after.verdict) == (Verdict.MEETS, Verdict.BELOW)


@given(faces, st.lists(reading_sets, max_size=6), rules, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(face, readings, rule, random: Random):
    shuffled = [
        replace(one, values=tuple(random.sample(one.values, len(one.values))))
        for one in random.sample(readings, len(readings))
    ]
    before, after = assess_face(face, readings, rule), assess_face(face, shuffled, rule)
    assert before == after


@given(faces_with_readings(), rules, st.integers(0, 3))
def test_noughts_after_the_point_do_not_matter(face_and_readings, rule, places):
    face, readings = face_and_readings
    padded = [
        replace(
            one,
            values=tuple(
                value.quantize(Decimal(1).scaleb(-3))
                if places == 3 or value != value.to_integral_value()
                else value.quantize(Decimal(1).scaleb(-places))
                for value in one.values
            ),
        )
        for one in readings
    ]
    assert assess_face(face, padded, rule) == assess_face(face, readings, rule)


def test_35_and_35_0_and_35_000_are_one_value():
    assert {parse_reading(typed) for typed in ("35", "35.0", "35.000", "+35.", "035")} == {
        Decimal(35)
    }


@given(faces_with_readings(), rules)
def test_an_element_is_undecided_when_rows_disagree_or_a_guard_is_not_cleared(
    face_and_readings, rule
):
    face, readings = face_and_readings
    (read,) = reduce_many([select_readings(readings)], rule.uncertainty)
    for plan in plan_face(face, rule).elements:
        of_denominator = read.get(plan.denominator) if plan.denominator else None
        given = ElementInput(plan, read.get(plan.color), of_denominator)
        judgement = judge_element(given, compare_many([given], rule.decision_rule)[0])
        said = set(judgement.verdicts.values())
        if rule.decision_rule == SIMPLE_ACCEPTANCE:
            assert Verdict.UNDECIDED not in said
        if judgement.verdict is Verdict.UNDECIDED:
            assert plan.not_known or len(said) > 1 or said == {Verdict.UNDECIDED}
            assert plan.not_known or judgement.blame or said == {Verdict.UNDECIDED}
        elif judgement.verdicts:
            all_fail = all(verdict.is_failing for verdict in said)
            assert said == {judgement.verdict} or (
                all_fail and judgement.verdict is Verdict.BELOW
            )


@given(faces, st.lists(reading_sets, max_size=8), rules)
def test_judging_the_selection_is_judging_everything_ever_read(face, readings, rule):
    selected = select_readings(readings)
    assert assess_face(face, selected, rule) == assess_face(face, readings, rule)
    assert select_readings(selected) == selected


@given(faces, st.lists(reading_sets, max_size=4), rules)
def test_what_is_stored_can_be_judged_anew(face, readings, rule):
    facts = json.loads(json.dumps(facts_of(face, readings, rule)))
    again = assess_face(*from_facts(facts))
    assert again == assess_face(face, readings, rule)
    assert facts_of(*from_facts(facts)) == facts


@given(st.lists(st.tuples(faces, st.lists(reading_sets, max_size=4)), max_size=5), rules)
def test_judging_a_batch_is_judging_one_by_one_to_the_last_digit(cases, rule):
    assert assess_faces(cases, rule) == [
        assess_face(face, readings, rule) for face, readings in cases
    ]


def rescaled(rule, factor):
    """The same rules with every stated share of uncertainty scaled."""
    stated = rule.uncertainty
    return replace(
        rule,
        uncertainty=replace(
            stated,
            repeatability_rel=stated.repeatability_rel * factor,
            common_rel=stated.common_rel * factor,
            single_scatter_rel=stated.single_scatter_rel * factor,
        ),
    )


@given(faces, st.lists(st.tuples(st.sampled_from(Color), ra_values), max_size=4), rules)
def test_scaling_the_uncertainty_moves_each_probability_toward_a_half(face, singles, rule):
    # One reading a colour: all of its uncertainty is stated, so scaling that scales u.
    readings = [
        read(color, str(value), values=(value,), visit=place)
        for place, (color, value) in enumerate(dict(singles).items())
    ]
    surer = rescaled(replace(rule, decision_rule=SIMPLE_ACCEPTANCE), 0.5)
    sure = assess_face(face, readings, surer)
    doubtful = assess_face(face, readings, replace(rule, decision_rule=SIMPLE_ACCEPTANCE))
    assert [each.verdict for each in doubtful.elements] == [
        each.verdict for each in sure.elements
    ]
    for one, other in zip(sure.elements, doubtful.elements, strict=True):
        if one.probability is None or other.probability is None:
            assert one.probability is other.probability
            continue
        assert abs(other.probability - 0.5) <= abs(one.probability - 0.5) + 1e-12
        assert (other.probability - 0.5) * (one.probability - 0.5) >= 0


@given(faces, st.lists(reading_sets, max_size=4), rules)
def test_the_bounds_of_a_face_enclose_what_independent_elements_would_give(
    face, readings, rule
):
    result = assess_face(face, readings, rule)
    low, high = result.probability_low, result.probability_high
    if low is None or high is None:
        assert low is high is None
        return
    assert 0 <= low <= high <= 1
    known = [
        each.probability
        for each in result.elements
        if each.decides and each.probability is not None
    ]
    if len(known) == len([each for each in result.elements if each.decides]):
        # By hand: Boole and Fréchet.
        assert abs(low - max(0.0, 1 - sum(1 - p for p in known))) < 1e-12
        assert high == min(known)


@given(faces, st.lists(reading_sets, max_size=4), rules)
def test_a_face_is_as_good_as_its_worst_deciding_element(face, readings, rule):
    result = assess_face(face, readings, rule)
    assert result.reason
    deciding = [each for each in result.elements if each.decides]
    if result.verdict is not Verdict.EXCLUDED and deciding:
        assert result.verdict is worst_verdict(each.verdict for each in deciding)
    for each in result.elements:
        assert each.reason.endswith((".", "?"))
        stored, level, margin = each.value_to_store, each.level, each.margin
        if stored is None or level is None or margin is None:
            assert each.verdict is not Verdict.BELOW
            continue
        if rule.decision_rule == SIMPLE_ACCEPTANCE:
            assert (margin >= 0) is (each.verdict is Verdict.MEETS)
            assert (margin < 0) is (each.verdict is Verdict.BELOW)
        else:  # a guard only ever turns a verdict into undecided
            assert margin >= 0 or each.verdict is not Verdict.MEETS
            assert margin < 0 or each.verdict is not Verdict.BELOW
        assert (stored >= level) is (margin >= 0)


@given(st.lists(st.tuples(st.lists(ra_values, min_size=1, max_size=6), ra_values), min_size=1))
def test_comparing_many_at_once_is_comparing_one_by_one(cases):
    totals = [int(sum(values) * 1000) for values, _ in cases]
    counts = [len(values) for values, _ in cases]
    levels = [int(level * 1000) for _, level in cases]
    together = meets_level(np.array(totals), np.array(counts), np.array(levels))
    alone = [meets_level(*case) for case in zip(totals, counts, levels, strict=True)]
    assert together.tolist() == alone
    # By hand: the mean, as an exact decimal fraction, against the level.
    assert alone == [sum(values) >= level * len(values) for values, level in cases]

    ratio = np.full(len(cases), 3000)
    reds, ones = np.array(levels), np.ones(len(cases), dtype=np.int64)
    contrast = meets_contrast(np.array(totals), np.array(counts), reds, ones, ratio)
    assert contrast.tolist() == [
        sum(values) >= 3 * level * len(values) for values, level in cases
    ]

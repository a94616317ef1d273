"""Lots that cannot be told apart, lots explained by others, and what would help."""

from dataclasses import replace

import numpy as np
import pytest

from inventory.engineering.forecast.aliases import (
    Member,
    identical_groups,
    list_suspects,
    told_apart_by,
)
from inventory.engineering.forecast.lot_signs import LotSigns
from inventory.engineering.forecast.lot_sums import Factor
from inventory.engineering.forecast.lots import compare_lots
from tests.engineering.forecast.lot_fleets import LotPlan, lot_cohort, lot_fleet, with_levels

PLAN = LotPlan(lots=60, planted_signs=90, excess=1.0, lot_level_sd=0.03, lot_slope_sd=0.0015)
SHEETING, INK, RUN = Factor.SHEETING, Factor.INK, Factor.RUN


@pytest.fixture(scope="module")
def fleet():
    """60 sheeting lots, of which lot 0 loses twice as fast on all its 90 signs."""
    return lot_cohort(lot_fleet(PLAN, 21))


def judged(cohort):
    signs = LotSigns.gather([cohort])
    tests = {
        factor: test
        for factor in Factor
        if (test := compare_lots([cohort], factor, signs)) is not None
    }
    return list_suspects([cohort], tests, signs), tests, signs


def listed(groups):
    return [group for group in groups if group.is_listed]


def test_an_ink_used_for_one_sheeting_lot_alone_cannot_be_told_from_it(fleet):
    lots = fleet.levels[SHEETING]
    groups, tests, signs = judged(with_levels(fleet, ink=lots + 100))
    assert len(identical_groups(tests, signs)) == len(tests[SHEETING].level)
    assert [group.members for group in listed(groups)] == [
        (Member(SHEETING, 0), Member(INK, 100))
    ]


def test_a_member_that_is_not_tested_itself_is_named_all_the_same(fleet):
    # Four overlay lots are too few to know what is ordinary among overlay lots.
    lots = fleet.levels[SHEETING]
    groups, tests, _signs = judged(with_levels(fleet, overlay=np.where(lots < 4, lots, -1)))
    assert Factor.OVERLAY not in tests
    assert listed(groups)[0].members == (Member(SHEETING, 0), Member(Factor.OVERLAY, 0))


def test_runs_of_a_bad_sheeting_lot_are_explained_by_it(fleet):
    lots = fleet.levels[SHEETING]
    groups, _tests, _signs = judged(with_levels(fleet, run=3 * lots + np.arange(len(lots)) % 3))
    assert [group.members for group in listed(groups)] == [(Member(SHEETING, 0),)]
    explained = [group for group in groups if group.explained_by is not None]
    assert {group.explained_by for group in explained} == {Member(SHEETING, 0)}
    assert {group.members[0].level for group in explained} == {0, 1, 2}


def test_a_bad_run_explains_its_sheeting_lot():
    # 30 of the 90 signs of sheeting lot 0 are of run 0, and they alone fall fast.
    observations = lot_fleet(replace(PLAN, excess=0.0), 22)
    run = 3 * observations.lot + np.arange(observations.sign_count) % 3
    is_bad = (run == 0)[observations.sign]
    faster = np.where(is_bad, np.exp(-0.10 * observations.age_years), 1.0)
    bad = replace(observations, ra_cd_lx_m2=observations.ra_cd_lx_m2 * faster)
    groups, _tests, _signs = judged(with_levels(lot_cohort(bad), run=run))
    assert (Member(RUN, 0),) in [group.members for group in listed(groups)]
    (of_lot,) = (group for group in groups if Member(SHEETING, 0) in group.members)
    assert of_lot.explained_by == Member(RUN, 0)
    assert not of_lot.is_listed


def test_an_ink_that_shares_a_bad_sheeting_lots_signs_is_explained_by_it(fleet):
    # Ink 1000 printed half of the bad lot and all of two good ones; others one lot in two each.
    lots = fleet.levels[SHEETING]
    ink = 1_001 + lots // 2
    half = np.arange(len(lots)) % 2 == 0
    ink[((lots == 0) & half) | (lots == 10)] = 1_000
    groups, _tests, _signs = judged(with_levels(fleet, ink=ink))
    assert [group.members for group in listed(groups)] == [(Member(SHEETING, 0),)]


def test_two_that_stand_only_by_their_common_signs_become_one_group():
    # But for one sign each, the ink's signs are those of a sheeting lot losing 40 % faster; one
    # sign is known to 1.6 % a year, too little to show a loss of 2 % a year more or to rule it
    # out.
    fleet = lot_cohort(lot_fleet(replace(PLAN, excess=0.4), 21))
    lots = fleet.levels[SHEETING]
    ink = 1_001 + lots
    ink[np.flatnonzero(lots == 0)[0]] = 1_002
    ink[np.flatnonzero(lots == 5)[0]] = 1_001
    groups, _tests, signs = judged(with_levels(fleet, ink=ink))
    assert [group.members for group in listed(groups)] == [
        (Member(SHEETING, 0), Member(INK, 1_001))
    ]
    words = told_apart_by(listed(groups)[0].members, signs, lambda one: f"{one.factor} lot")
    assert "Read signs of sheeting lot that are not of ink lot: 1 such sign stands, " in words


def test_the_readings_that_would_tell_two_apart_are_counted(fleet):
    lots = fleet.levels[SHEETING]
    ink = np.where(lots == 0, 7, -1)
    other = np.flatnonzero(lots == 1)[:5]
    ink[other] = 7
    stands = np.ones(len(lots), dtype=np.bool_)
    stands[other[:2]] = False
    signs = LotSigns.gather([replace(with_levels(fleet, ink=ink), is_installed=stands)])
    twice = np.isin(other[2:], signs.read_twice(SHEETING, 1)).sum()
    names = {SHEETING: "sheeting lot A", INK: "ink lot K"}
    words = told_apart_by(
        (Member(SHEETING, 0), Member(INK, 7)), signs, lambda one: names[one.factor]
    )
    were = "was" if twice == 1 else "were"
    assert words == (
        "Read signs of ink lot K that are not of sheeting lot A: 3 such signs stand, "
        f"{twice} {were} read twice or more."
    )


def test_where_no_sign_would_tell_two_apart_it_says_what_would(fleet):
    lots = fleet.levels[SHEETING]
    signs = LotSigns.gather([with_levels(fleet, ink=np.where(lots == 0, 7, -1))])
    words = told_apart_by(
        (Member(SHEETING, 0), Member(INK, 7)), signs, lambda one: one.factor.words
    )
    assert words == (
        "No sign stands that is of sheeting lot and not of ink lot, so no reading can tell "
        "them apart; a face made of one without the other could."
    )
    assert told_apart_by((Member(SHEETING, 0),), signs, str) == ""


def test_nothing_tested_lists_nothing(fleet):
    assert list_suspects([fleet], {}, LotSigns.gather([fleet])) == ()

"""Lots whose readings cannot be told apart, before and after testing, and what would help."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from inventory.engineering.forecast.lot_parts import part_of_lot
from inventory.engineering.forecast.lot_signs import LotSigns
from inventory.engineering.forecast.lot_sums import Factor, LotCohort
from inventory.engineering.forecast.lots import FALSE_SHARE, FactorTest, false_discovery
from inventory.engineering.inspection.student import WholeArray

STANDS_ALONE = 0.05  # one-sided p-value of what is left when another lot's signs are taken out


class Member(NamedTuple):
    """One lot of one factor."""

    factor: Factor
    level: int


class Tested(NamedTuple):
    """Where a lot is tested: its factor, and its place in that factor's test."""

    factor: Factor
    place: int


@dataclass(frozen=True, slots=True)
class LotGroup:
    """
    Lots that cannot be told apart, mostly one alone, with what the test says of them.

    ``tested`` is the member whose test counts: of identical sets of signs the one with the
    largest p-value. ``explained_by`` is the first member of the group whose signs carry the
    effect of this one.
    """

    members: tuple[Member, ...]
    tested: Tested
    p_value: float
    q_value: float = 1.0
    is_listed: bool = False
    explained_by: Member | None = None


def identical_groups(
    tests: Mapping[Factor, FactorTest], signs: LotSigns
) -> tuple[LotGroup, ...]:
    """
    Return the tested lots, those of identical sets of read signs as one group.

    Lots that were read on the same signs but are not tested themselves (too few lots of their
    factor) are members too: they may as well be the cause.
    """
    by_signs: dict[bytes, list[tuple[Member, Tested]]] = {}
    for factor, test in tests.items():
        for place, level in enumerate(test.level.tolist()):
            member = Member(factor, level)
            by_signs.setdefault(_signature(signs.read(factor, level)), []).append(
                (member, Tested(factor, place))
            )
    others: dict[bytes, list[Member]] = {}
    for factor in Factor:
        is_tested = set(tests[factor].level.tolist()) if factor in tests else set()
        for level in signs.levels(factor).tolist():
            if level not in is_tested:
                signature = _signature(signs.read(factor, level))
                if signature in by_signs:
                    others.setdefault(signature, []).append(Member(factor, level))
    groups = []
    for signature, found in by_signs.items():
        weakest = max(found, key=lambda each: _p_value(tests, each[1]))
        members = [each for each, _tested in found] + others.get(signature, [])
        groups.append(LotGroup(_sorted(members), weakest[1], _p_value(tests, weakest[1])))
    return tuple(sorted(groups, key=_rank))


def list_suspects(
    cohorts: Sequence[LotCohort],
    tests: Mapping[Factor, FactorTest],
    signs: LotSigns,
    *,
    false_share: float = FALSE_SHARE,
) -> tuple[LotGroup, ...]:
    """
    Return every tested lot or group with its q-value, and which are listed as suspect.

    Of listed lots that share signs, each is estimated again without the other's signs. One
    that is left without an effect, where the other still has it, is explained by the other;
    where neither stands alone they become one group.

    Parameters
    ----------
    cohorts : sequence of LotCohort
        Those of the tests.
    tests : mapping of Factor to FactorTest
        Of the factors with enough lots.
    signs : LotSigns
        Which signs are of which lot.
    false_share : float
        Share of false lots among those listed that is allowed on average.
    """
    groups = _with_q_values(identical_groups(tests, signs))
    waiting = [group for group in groups if group.q_value <= false_share]
    rest = [group for group in groups if group.q_value > false_share]
    kept: list[LotGroup] = []
    explained: list[LotGroup] = []
    while waiting:
        new = waiting.pop(0)
        for other in list(kept):
            found = _compare(cohorts, tests, signs, other, new)
            if found is _Found.FIRST_EXPLAINS:
                explained.append(replace(new, explained_by=other.members[0]))
                break
            if found is _Found.TOGETHER:
                kept[kept.index(other)] = replace(
                    other, members=_sorted([*other.members, *new.members])
                )
                break
            if found is _Found.SECOND_EXPLAINS:
                kept.remove(other)
                again = [each for each in explained if each.explained_by in other.members]
                explained = [each for each in explained if each not in again]
                waiting += [replace(each, explained_by=None) for each in again]
                explained.append(replace(other, explained_by=new.members[0]))
        else:
            kept.append(new)
    # One bad lot with its runs and inks counts once, or it would let in others by its number.
    result = _listed([*kept, *rest], false_share)
    sure = {member for group in result if group.is_listed for member in group.members}
    alone = [
        replace(each, explained_by=None) for each in explained if each.explained_by not in sure
    ]
    if alone:  # what explains them is not sure enough itself: they stand for themselves
        result = _listed([*result, *alone], false_share)
    result += [each for each in explained if each.explained_by in sure]
    return tuple(sorted(result, key=lambda group: (group.q_value, _rank(group))))


def _listed(groups: Sequence[LotGroup], false_share: float) -> list[LotGroup]:
    return [
        replace(group, is_listed=group.q_value <= false_share)
        for group in _with_q_values(groups)
    ]


def _with_q_values(groups: Sequence[LotGroup]) -> list[LotGroup]:
    """Return groups in the order of their p-values, with q-values of these alone."""
    q_values = false_discovery(np.array([group.p_value for group in groups]))
    found = [
        replace(group, q_value=float(q)) for group, q in zip(groups, q_values, strict=True)
    ]
    return sorted(found, key=_rank)


def _rank(group: LotGroup) -> tuple[float, tuple[int, int]]:
    return group.p_value, _order(group.members[0])


class _Found(Enum):
    APART = 0
    FIRST_EXPLAINS = 1
    SECOND_EXPLAINS = 2
    TOGETHER = 3


@dataclass(frozen=True, slots=True)
class _Left:
    """What is left of a lot without the signs of another."""

    stands: bool
    is_gone: bool  # differs from the signs of both: the lot's other signs are ordinary


def _compare(
    cohorts: Sequence[LotCohort],
    tests: Mapping[Factor, FactorTest],
    signs: LotSigns,
    first: LotGroup,
    second: LotGroup,
) -> _Found:
    """Return which of two listed lots carries the effect."""
    ids = [_read(tests, signs, group) for group in (first, second)]
    both = np.intersect1d(ids[0], ids[1])
    if not len(both):
        return _Found.APART
    left = [
        _without(cohorts, tests[group.tested.factor], group.tested.place, own, both)
        for group, own in zip((first, second), ids, strict=True)
    ]
    if left[0].stands and left[1].stands:
        return _Found.APART
    if left[0].stands or (left[1].is_gone and not left[0].is_gone):
        return _Found.FIRST_EXPLAINS
    if left[1].stands or (left[0].is_gone and not left[1].is_gone):
        return _Found.SECOND_EXPLAINS
    return _Found.TOGETHER


def _without(
    cohorts: Sequence[LotCohort],
    test: FactorTest,
    place: int,
    own: WholeArray,
    both: WholeArray,
) -> _Left:
    alone = part_of_lot(cohorts, test, place, np.setdiff1d(own, both))
    if not np.isfinite(alone.variance):
        return _Left(stands=False, is_gone=False)
    effect, variance = np.array([alone.effect_per_year]), np.array([alone.variance])
    shared = part_of_lot(cohorts, test, place, both)
    apart = alone.effect_per_year - shared.effect_per_year
    difference = apart / np.sqrt(alone.variance + shared.variance)
    return _Left(
        stands=bool(test.p_of(place, effect, variance)[0] <= STANDS_ALONE),
        is_gone=bool(ndtr(-difference) <= STANDS_ALONE),
    )


def told_apart_by(
    members: Sequence[Member],
    signs: LotSigns,
    name_of: Callable[[Member], str],
    *,
    most_sentences: int = 4,
) -> str:
    """
    Return which readings would tell the members of a group apart, in sentences.

    Parameters
    ----------
    members : sequence of Member
        Two or more; one alone has nothing to be told apart from.
    signs : LotSigns
        Which signs are of which lot.
    name_of : callable
        Names a member, such as ``sheeting lot W-17``.
    most_sentences : int
        Of the pairs with most signs to read.
    """
    found: list[tuple[int, str]] = []
    for one in members:
        for other in members:
            if one == other:
                continue
            mine = np.setdiff1d(signs.standing(*one), signs.all_of(*other))
            if len(mine):
                twice = len(np.intersect1d(mine, signs.read_twice(*one)))
                are = "sign stands" if len(mine) == 1 else "signs stand"
                were = "was" if twice == 1 else "were"
                found.append(
                    (
                        len(mine),
                        f"Read signs of {name_of(one)} that are not of {name_of(other)}: "
                        f"{len(mine)} such {are}, {twice} {were} read twice or more.",
                    )
                )
    if len(members) < 2:
        return ""
    if not found:
        return (
            f"No sign stands that is of {name_of(members[0])} and not of "
            f"{' and '.join(name_of(each) for each in members[1:])}, so no reading can tell "
            "them apart; a face made of one without the other could."
        )
    found.sort(key=lambda each: (-each[0], each[1]))
    return " ".join(sentence for _number, sentence in found[:most_sentences])


def _read(tests: Mapping[Factor, FactorTest], signs: LotSigns, group: LotGroup) -> WholeArray:
    factor, place = group.tested
    return signs.read(factor, int(tests[factor].level[place]))


def _signature(ids: WholeArray) -> bytes:
    return np.ascontiguousarray(ids).tobytes()


def _p_value(tests: Mapping[Factor, FactorTest], tested: Tested) -> float:
    return float(tests[tested.factor].p_value[tested.place])


def _order(member: Member) -> tuple[int, int]:
    return list(Factor).index(member.factor), member.level


def _sorted(members: Sequence[Member]) -> tuple[Member, ...]:
    return tuple(sorted(members, key=_order))

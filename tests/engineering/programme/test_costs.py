"""What each group of a plan costs, and its share of all the money."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.programme.costs import cost_by_group
from inventory.errors import OutOfRangeError


@given(
    st.lists(st.tuples(st.floats(0, 1e6), st.integers(0, 3)), max_size=40), st.floats(0, 1e6)
)
def test_groups_and_the_rest_are_all_the_money(rows, trips):
    cost = np.array([each for each, _group in rows], dtype=float)
    group = np.array([each for _cost, each in rows], dtype=np.int64)
    total = float(cost.sum()) + trips
    found = cost_by_group(cost, group, groups=4, total=total)
    assert found.money.sum() + found.rest == pytest.approx(total)
    assert found.count.sum() == len(rows)
    if total > 0:
        assert found.share.sum() + found.rest_share == pytest.approx(1.0)


def test_nothing_planned_has_no_shares():
    found = cost_by_group(np.array([]), np.array([], dtype=np.int64), groups=4)
    assert found.share.tolist() == [0.0] * 4
    assert (found.rest, found.rest_share) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("cost", "group", "words"),
    [
        ([1.0], [0, 1], "1 costs for 2 groups"),
        ([1.0], [4], "outside 0 to 3"),
        ([1.0], [-1], "outside 0 to 3"),
        ([-1.0], [0], "negative or not a number"),
        ([np.nan], [0], "negative or not a number"),
    ],
)
def test_what_cannot_be_is_refused(cost, group, words):
    with pytest.raises(OutOfRangeError, match=words):
        cost_by_group(np.array(cost), np.array(group, dtype=np.int64), groups=4)

"""Which readings may be fitted together."""

from decimal import Decimal

import numpy as np
import pytest

from inventory.engineering.forecast.observations import Observations, select_visits
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.errors import OutOfRangeError


def selected(method):
    return select_visits(
        [How.HAND_HELD, How.HAND_HELD, How.MOBILE, How.HAND_HELD, How.VISUAL_NIGHT] * 2,
        [SurfaceState.DRY, SurfaceState.DEW] * 5,
        [Decimal("0.2")] * 9 + [Decimal("0.5")],
        [Decimal("-4.0")] * 10,
        np.array([200.0] * 7 + [200.0, 0.0, 200.0]),
        method=method,
    )


def test_hand_held_and_mobile_readings_are_never_put_together():
    # Bologna, mobile against hand-held: +24.79 cd/lx/m² on average (abstract).
    hand_held, mobile = selected(How.HAND_HELD), selected(How.MOBILE)
    assert not (hand_held.is_selected & mobile.is_selected).any()
    assert np.flatnonzero(hand_held.is_selected).tolist() == [0, 6]
    assert np.flatnonzero(mobile.is_selected).tolist() == [2]


def test_what_is_left_out_is_counted_with_its_reason():
    chosen = selected(How.HAND_HELD)
    assert sum(chosen.left_out.values()) + int(chosen.is_selected.sum()) == 10
    words = " ".join(chosen.left_out)
    assert "dew was on the face" in words
    assert "24.79" in words
    assert "a reading of 0" in words
    with pytest.raises(OutOfRangeError, match="choose hand-held or mobile"):
        selected(How.VISUAL_NIGHT)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (([0, 1], [1.0, -0.1], [200.0, 200.0]), "The age of visit 1 is -0.1"),
        (([0, 1], [1.0, 100.1], [200.0, 200.0]), "from 0 to 100 years"),
        (([0, 1], [1.0, 1.0], [200.0, 0.0]), "R_A of visit 1 is 0"),
        (([0, 1], [1.0, 1.0], [np.nan, 1.0]), "R_A of visit 0 is nan"),
        (([1, 0, 1], [1.0] * 3, [200.0] * 3), "not in the order"),
        (([0], [1.0, 2.0], [200.0]), "age_years has 2 entries for 1"),
    ],
)
def test_readings_that_cannot_be_fitted_are_refused_with_the_value(values, said):
    with pytest.raises(OutOfRangeError, match=said):
        Observations.plain(*values)


def test_the_ends_of_the_ages_are_let_pass():
    assert len(Observations.plain([0, 0], [0.0, 100.0], [200.0, 10.0])) == 2
    with pytest.raises(OutOfRangeError, match="1 or more"):
        Observations.plain([0], [1.0], [200.0], reading_count=0)

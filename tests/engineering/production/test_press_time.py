import math

import pytest

from inventory.engineering.production.press_time import press_minutes
from inventory.errors import OutOfRangeError


def test_forty_eight_square_feet_at_162_an_hour_take_17_8_minutes():
    # Check value of the trade: 48 ft² at 162 ft²/h (common practice, no source), given to
    # one decimal.
    assert round(press_minutes(48.0, 162.0), 1) == 17.8


def test_printing_nothing_takes_no_time():
    assert press_minutes(0.0, 162.0) == 0.0


@pytest.mark.parametrize(
    ("area_ft2", "rate_ft2_per_h", "sentence"),
    [
        (-1.0, 162.0, "-1 ft² cannot be printed; it has to be zero or more"),
        (math.nan, 162.0, "nan ft² cannot be printed"),
        (48.0, 0.0, "0 ft²/h prints nothing; set the rate of the press"),
        (48.0, math.inf, "inf ft²/h prints nothing"),
    ],
)
def test_an_impossible_area_or_rate_is_refused(area_ft2, rate_ft2_per_h, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        press_minutes(area_ft2, rate_ft2_per_h)

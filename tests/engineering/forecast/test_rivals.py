"""What the forecast is compared with: worked by hand, and against numpy's own line."""

import numpy as np
import pytest

from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.rivals import tell_by_age_table, tell_by_own_lines
from inventory.engineering.forecast.told import Told
from inventory.errors import OutOfRangeError


def by_table(known, ages, *, is_age_known=True):
    ages = np.asarray(ages, dtype=float)
    told = np.broadcast_to(np.asarray(is_age_known), ages.shape)
    return tell_by_age_table(known, age_years=ages, is_age_known=told)


def test_a_table_by_age_has_the_mean_and_spread_of_each_two_years():
    # By hand: band 0–2: 250 … 290, mean 270, SD √250; band 4–6: 200 … 240, mean 220.
    known = Observations.plain(
        range(10), [1] * 5 + [5] * 5, [250, 260, 270, 280, 290, 200, 210, 220, 230, 240]
    )
    told = by_table(known, [0.0, 1.99, 4.0, 5.9])
    assert told.mean.tolist() == [270.0, 270.0, 220.0, 220.0]
    assert told.sd == pytest.approx([np.sqrt(250 * 1.2)] * 4)


def test_a_thin_band_takes_the_nearest_full_one_and_the_younger_of_two():
    known = Observations.plain(range(11), [1] * 5 + [3] + [5] * 5, [270] * 6 + [220] * 5)
    assert by_table(known, [3.0, 30.0]).mean.tolist() == [270.0, 220.0]


def test_a_sign_of_unknown_age_takes_all_readings_together():
    known = Observations.plain(range(10), [1] * 5 + [5] * 5, [270] * 5 + [220] * 5)
    assert by_table(known, [1.0], is_age_known=False).mean.tolist() == [245.0]


def test_a_line_through_a_sign_is_numpys_least_squares_line():
    # numpy.polyfit; the range of a further reading from any textbook on regression.
    age = np.array([0.0, 1.0, 2.5, 4.0, 5.0])
    ra = np.array([270.0, 262.0, 240.0, 231.0, 215.0])
    known = Observations.plain([0] * 5, age, ra)
    told = tell_by_own_lines(known, sign=np.array([0]), age_years=np.array([7.0]))
    line, (left,), *_rest = np.polyfit(age, ra, 1, full=True)
    assert told.mean[0] == pytest.approx(np.polyval(line, 7.0))
    away = (7.0 - age.mean()) ** 2 / ((age - age.mean()) ** 2).sum()
    assert told.sd[0] == pytest.approx(np.sqrt(left / 3 * (1 + 1 / 5 + away)))


def test_a_sign_with_few_readings_takes_the_spread_of_all_lines():
    # Sign 0: 3 readings off their line by −2, 4, −2 … (24 with one degree of freedom); sign 1
    # has two readings, so its line leaves nothing and takes √24.
    known = Observations.plain([0, 0, 0, 1, 1], [0, 1, 2, 0, 2], [260, 256, 240, 280, 260])
    told = tell_by_own_lines(known, sign=np.array([1]), age_years=np.array([2.0]))
    assert told.mean.tolist() == [260.0]
    assert told.sd[0] == pytest.approx(np.sqrt(24 * (1 + 1 / 2 + 1 / 2)))


@pytest.mark.parametrize("second", [[], [0.3]], ids=["once", "twice-in-a-season"])
def test_a_sign_read_once_or_in_one_season_falls_as_the_usual_line(second):
    # Two whole signs fall by 10 and by 6 a year: 8 a year, spread 2.
    age, ra = [0, 1, 2, 0, 1, 2], [260, 250, 240, 280, 274, 268]
    own = [0.0, *second]
    known = Observations.plain(
        [0, 0, 0, 1, 1, 1] + [2] * len(own), age + own, ra + [300] * len(own)
    )
    told = tell_by_own_lines(known, sign=np.array([2]), age_years=np.array([4.0]))
    ahead = 4.0 - np.mean(own)
    assert told.mean[0] == pytest.approx(300 - 8 * ahead)
    assert told.sd[0] >= 2 * ahead


def test_too_few_readings_and_a_sign_without_any_are_refused():
    one = Observations.plain([0], [1.0], [260.0])
    with pytest.raises(OutOfRangeError, match="1 readings make no table"):
        by_table(one, [1.0])
    with pytest.raises(OutOfRangeError, match="1 readings make no lines"):
        tell_by_own_lines(one, sign=np.array([0]), age_years=np.array([2.0]))
    three = Observations.plain([0, 0], [1.0, 2.0], [260.0, 255.0], lot=[-1, -1])
    with pytest.raises(OutOfRangeError, match="Sign 1 was not read before"):
        tell_by_own_lines(three, sign=np.array([1]), age_years=np.array([2.0]))


def test_nine_of_ten_draws_lie_within_the_range_told():
    # 20,000 draws: 0.90 ± 0.008 is four standard errors; told on either scale.
    draw = np.random.default_rng(4)
    for told, drawn in (
        (
            Told(np.full(20_000, 5.3), np.full(20_000, 0.2), is_log=True),
            draw.lognormal(5.3, 0.2, 20_000),
        ),
        (
            Told(np.full(20_000, 200.0), np.full(20_000, 30.0), is_log=False),
            draw.normal(200, 30, 20_000),
        ),
    ):
        inside = (drawn >= told.low_cd_lx_m2) & (drawn <= told.high_cd_lx_m2)
        assert inside.mean() == pytest.approx(0.90, abs=0.008)
        assert told.mean_cd_lx_m2[0] == pytest.approx(drawn.mean(), rel=0.01)
        assert told.below(np.full(20_000, 190.0))[0] == pytest.approx(
            (drawn < 190).mean(), abs=0.014
        )

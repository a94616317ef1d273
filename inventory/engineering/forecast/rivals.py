"""What a forecast is compared with: a table by age, and a straight line through each sign."""

import numpy as np

from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.told import Told
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

AGE_BAND_YEARS = 2.0
LEAST_IN_BAND = 5
LEAST_FOR_OWN_SD = 5
MINIMUM_SPAN_YEARS = 0.5


def tell_by_age_table(
    known: Observations, *, age_years: FloatArray, is_age_known: FloatArray
) -> Told:
    """
    Return what a table by age tells: mean and standard deviation of the cohort's readings.

    Readings of signs of known age are put in bands of two years; a band with fewer than five
    takes the nearest band that has them, the younger of two. A sign of unknown age, and any
    sign where no band has five, takes all readings together. The range is wider by
    √(1 + 1/n) for the mean being of n readings.

    Parameters
    ----------
    known : Observations
        What was known, two readings or more.
    age_years : array of float
        Of the signs when they are to be read. [year]
    is_age_known : array of bool
        Likewise.

    Raises
    ------
    OutOfRangeError
        If fewer than two readings are known.

    Examples
    --------
    >>> ten = Observations.plain(range(10), [1] * 5 + [9] * 5, [250, 260, 270, 280, 290] * 2)
    >>> tell_by_age_table(ten, age_years=np.array([1.5]),
    ...                   is_age_known=np.array([True])).mean.tolist()
    [270.0]
    """
    ra = known.ra_cd_lx_m2
    if len(ra) < 2:
        msg = f"{len(ra)} readings make no table by age; it takes two or more."
        raise OutOfRangeError(msg)
    of_known = known.is_age_known[known.sign]
    band = (known.age_years[of_known] // AGE_BAND_YEARS).astype(np.int64)
    count = np.bincount(band)
    asked = (np.asarray(age_years) // AGE_BAND_YEARS).astype(np.int64)
    rows = np.flatnonzero(count >= LEAST_IN_BAND)
    # The last row is all readings together.
    mean, sd, number = (np.empty(len(rows) + 1) for _each in range(3))
    for at, row in enumerate(rows):
        some = ra[of_known][band == row]
        mean[at], sd[at], number[at] = some.mean(), some.std(ddof=1), len(some)
    mean[-1], sd[-1], number[-1] = ra.mean(), ra.std(ddof=1), len(ra)
    place = np.full(len(asked), len(rows))
    if len(rows):
        bands = np.arange(max(int(asked.max(initial=0)), int(rows[-1])) + 1)
        nearest = np.abs(bands[:, None] - rows).argmin(axis=1)
        place = np.where(is_age_known, nearest[asked], place)
    floor = 1e-3 * mean[-1]  # readings that are all alike
    spread = np.maximum(sd[place], floor) * np.sqrt(1 + 1 / number[place])
    return Told(mean[place], spread, is_log=False)


def tell_by_own_lines(known: Observations, *, sign: WholeArray, age_years: FloatArray) -> Told:
    """
    Return what a straight line through each sign's own readings tells.

    A sign read twice or more over at least half a year has its least-squares line of R_A
    against age. Its residual standard deviation is its own from five readings on, else that of
    all the cohort's lines together. A sign read once (or within half a year) has the mean of
    its readings and the mean slope of the cohort's lines, with the lines' spread of slopes. The
    range is the usual one of a further reading about a line.

    Parameters
    ----------
    known : Observations
        What was known, two readings or more.
    sign : array of int
        Which signs are to be read; each has been read before.
    age_years : array of float
        Their ages then, counted as in ``known``. [year]

    Raises
    ------
    OutOfRangeError
        If a sign was not read before, or fewer than two readings are known.

    Examples
    --------
    >>> two = Observations.plain([0, 0, 0, 1], [0, 1, 2, 0], [260, 252, 240, 280])
    >>> tell_by_own_lines(two, sign=np.array([0, 1]), age_years=np.array([3.0, 3.0])
    ...                   ).mean.round(1).tolist()
    [230.7, 250.0]
    """
    ra, age, whose, number = known.ra_cd_lx_m2, known.age_years, known.sign, known.sign_count
    if len(ra) < 2:
        msg = f"{len(ra)} readings make no lines; it takes two or more."
        raise OutOfRangeError(msg)
    count = np.bincount(whose, minlength=number)
    if (count[sign] == 0).any():
        msg = f"Sign {sign[np.argmin(count[sign])]} was not read before, so it has no line."
        raise OutOfRangeError(msg)
    n = np.maximum(count, 1)
    mean_age = np.bincount(whose, age, number) / n
    mean_ra = np.bincount(whose, ra, number) / n
    from_mean, above = age - mean_age[whose], ra - mean_ra[whose]
    spread_age = np.bincount(whose, from_mean**2, number)
    common = np.bincount(whose, from_mean * above, number)
    first, last = np.full(number, np.inf), np.full(number, -np.inf)
    np.minimum.at(first, whose, age)
    np.maximum.at(last, whose, age)
    has_line = (count >= 2) & (last - first >= MINIMUM_SPAN_YEARS)
    slope = np.where(has_line, common / np.where(has_line, spread_age, 1.0), 0.0)
    left = np.bincount(whose, (above - slope[whose] * from_mean) ** 2, number)
    free = count - 2
    pooled_free = int(free[has_line & (free > 0)].sum())
    if pooled_free:
        pooled = np.sqrt(left[has_line & (free > 0)].sum() / pooled_free)
    else:
        pooled = ra.std(ddof=1)
    pooled = max(float(pooled), 1e-3 * float(ra.mean()))  # lines without any residual
    own = np.sqrt(left / np.maximum(free, 1))
    sd = np.where(has_line & (count >= LEAST_FOR_OWN_SD), np.maximum(own, pooled / 10), pooled)
    lines = slope[has_line]
    usual_slope = float(lines.mean()) if len(lines) else 0.0
    of_slopes = float(lines.std()) if len(lines) else 0.0
    is_own = has_line[sign]
    ahead = age_years - mean_age[sign]
    mean = mean_ra[sign] + np.where(is_own, slope[sign], usual_slope) * ahead
    of_slope = np.where(
        is_own, sd[sign] ** 2 / np.where(is_own, spread_age[sign], 1.0), of_slopes**2
    )
    variance = sd[sign] ** 2 * (1 + 1 / n[sign]) + of_slope * ahead**2
    return Told(np.asarray(mean), np.sqrt(variance), is_log=False)

"""
The decision rules once more, one element at a time, in plain Python from the formulas.

Nothing of the project's statistics or of SciPy is used: the distribution functions are those of
Abramowitz and Stegun (from memory), the quantiles are found by halving. The tests compare the
project with this. The benchmark measures it as the naive way, with a library's distribution
function in place of the series.
"""

import math
from functools import cache

NORMAL_FROM_DOF = 10_000
MOST_FURTHER_READINGS = 30


def whole_dof(dof):
    """Degrees of freedom cut down to a whole number; None from 10,000 on: normal."""
    if dof >= NORMAL_FROM_DOF:
        return None
    return math.floor(dof * (1 + 1e-9))


def distribution_function(deviation, whole):
    """Abramowitz and Stegun 26.2.29 (normal) and 26.7.3, 26.7.4 (Student, whole dof)."""
    if whole is None:
        return math.erfc(-deviation / math.sqrt(2)) / 2
    angle = math.atan(deviation / math.sqrt(whole))
    cosine = math.cos(angle)
    if whole == 1:
        return 0.5 + angle / math.pi
    term = cosine if whole % 2 else 1.0
    total = term
    for step in range(3 if whole % 2 else 2, whole - 1, 2):
        term *= cosine * cosine * (step - 1) / step
        total += term
    two_sided = math.sin(angle) * total
    if whole % 2:
        two_sided = (angle + two_sided) * 2 / math.pi
    return 0.5 + two_sided / 2


@cache
def quantile(probability, whole):
    """The deviation with a given probability below it, over 0.5, found by halving."""
    low, high = 0.0, 1e6
    while True:
        middle = (low + high) / 2
        if middle in (low, high):
            return middle
        if distribution_function(middle, whole) < probability:
            low = middle
        else:
            high = middle


def effective_dof(parts):
    """JCGM 100:2008 equation (G.2b); parts are pairs of variance and degrees of freedom."""
    below = sum(variance**2 / dof for variance, dof in parts if not math.isinf(dof))
    return sum(variance for variance, _ in parts) ** 2 / below if below else math.inf


def judge(
    difference,
    is_met,
    parts_with,
    required,
    is_clear=lambda _more, _factor: True,
    distribution=distribution_function,
):
    """
    Verdict, probability, U, guard and further readings of one difference.

    ``parts_with(more)`` gives the parts of the variance with so many readings more; ``inf`` is
    any number of them.
    """

    def certainty(more):
        parts = parts_with(more)
        u = math.sqrt(sum(variance for variance, _ in parts))
        return u, whole_dof(effective_dof(parts))

    def outcome(more):
        u, whole = certainty(more)
        factor = quantile(required, whole)
        if not is_clear(more, factor):
            return "undecided"
        if difference >= factor * u:
            return "meets"
        return "below" if difference < -factor * u else "undecided"

    u, whole = certainty(0)
    if u > 0:
        probability = distribution(difference / u, whole)
    else:
        probability = 1.0 if difference >= 0 else 0.0
    expanded = quantile(0.975, whole) * u
    if required is None:
        return ("meets" if is_met else "below"), probability, expanded, 0.0, 0
    guard = quantile(required, whole) * u
    verdict = outcome(0)
    further = 0
    if verdict == "undecided":
        if outcome(math.inf) == "undecided":
            further = -1
        else:
            numbers = range(1, MOST_FURTHER_READINGS + 1)
            further = next((more for more in numbers if outcome(more) != "undecided"), 31)
    return verdict, probability, expanded, guard, further


def scatter_part(result, more):
    """Variance and degrees of freedom of a mean's scatter, with some readings more."""
    _, count, scatter, dof, _ = result
    if math.isinf(more):
        return 0.0, math.inf
    return scatter**2 / (count + more), (dof if more == 0 else count + more - 1)


def judge_level(result, level, required, distribution=distribution_function):
    """A result (total, count, scatter, dof, common) against a level in thousandths."""
    total, count, _, _, common = result
    difference = (total - level * count) / (count * 1000)
    return judge(
        difference,
        total >= level * count,
        lambda more: (scatter_part(result, more), (common**2, math.inf)),
        required,
        distribution=distribution,
    )


def judge_contrast(white, red, ratio, required, is_shared, distribution=distribution_function):
    """White over red against a least ratio in thousandths."""
    numerator, denominator = white[0] * red[1] * 1000, ratio * red[0] * white[1]
    difference = (numerator - denominator) / (white[1] * red[1] * 1_000_000)
    times = ratio / 1000
    common = white[4] ** 2 + (times * red[4]) ** 2
    if is_shared:
        common = (white[4] - times * red[4]) ** 2

    def parts_with(more):
        white_part, red_part = scatter_part(white, more), scatter_part(red, more)
        return (white_part, (times**2 * red_part[0], red_part[1]), (common, math.inf))

    def is_clear(more, factor):
        mean = red[0] / (red[1] * 1000)
        return mean**2 > factor**2 * (scatter_part(red, more)[0] + red[4] ** 2)

    return judge(
        difference, numerator >= denominator, parts_with, required, is_clear, distribution
    )

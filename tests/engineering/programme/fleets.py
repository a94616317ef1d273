"""Invented programmes: faces that cross their levels, what they cost, what there is."""

import numpy as np
from scipy.special import ndtr

from inventory.engineering.programme.problem import ProgrammeProblem
from inventory.engineering.programme.risk import ClassWeights, YearlyRisk


def invented_risk(seed, count, years=10):
    """Faces of mixed class and age; a new face lasts about 15 years."""
    draw = np.random.default_rng(seed)
    safety_class = draw.choice([1, 2, 3, 4], count, p=[0.1, 0.35, 0.35, 0.2])
    due, spread = draw.normal(8.0, 6.0, count), draw.uniform(1.0, 4.0, count)
    year_end = np.arange(1, years + 1)
    below = ndtr((year_end - due[:, None]) / spread[:, None])
    new = np.broadcast_to(ndtr((year_end - 15.0) / 4.0), below.shape)
    return YearlyRisk(below, new, ClassWeights().of(safety_class), np.zeros(count))


def invented_programme(seed, count, years=10, *, share=0.045, with_musts=False):
    """A programme with money for ``share`` of the positions each year."""
    draw = np.random.default_rng(seed + 1)
    cost = draw.choice([150.0, 220.0, 320.0, 600.0], count)
    hours = draw.choice([0.3, 0.5, 0.75, 1.5], count)
    must_by = np.full(count, -1)
    if with_musts:
        is_must = draw.random(count) < 0.05
        must_by[is_must] = draw.integers(years // 4, years, int(is_must.sum()))
    return ProgrammeProblem(
        invented_risk(seed, count, years).value(),
        cost,
        hours,
        np.full(years, cost.sum() * share),
        np.full(years, hours.sum() * share * 1.1),
        must_by=must_by,
    )

"""The readings of a cohort against age, thinned to what a drawing can show."""

from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from inventory.engineering.forecast.observations import Observations

MOST_POINTS = 3_000


@dataclass(frozen=True, slots=True)
class Cloud:
    """
    Visits of a cohort to be drawn.

    Parameters
    ----------
    ages_years, ra_cd_lx_m2 : tuple of float
        Age, to a hundredth of a year, and mean R_A, to a tenth, of each visit drawn.
    known_age_count : int
        Visits of signs whose age is known, of which those drawn are an even draw.
    visit_count : int
        All visits; the age of the rest is not known, so they have no place in the drawing.

    Examples
    --------
    >>> visits = Observations.plain([0, 1, 1], [3.0, 0.0, 2.0], [240.04, 251.0, 248.0],
    ...     is_age_known=[True, False])
    >>> cloud_of(visits)
    Cloud(ages_years=(3.0,), ra_cd_lx_m2=(240.0,), known_age_count=1, visit_count=3)
    >>> Cloud.from_json(cloud_of(visits).to_json()) == cloud_of(visits)
    True
    """

    ages_years: tuple[float, ...]
    ra_cd_lx_m2: tuple[float, ...]
    known_age_count: int
    visit_count: int

    @property
    def is_thinned(self) -> bool:
        """Return whether some visits of known age are not drawn."""
        return len(self.ages_years) < self.known_age_count

    def to_json(self) -> dict[str, Any]:
        """Return it as stored with a fit."""
        return {
            "ages_years": list(self.ages_years),
            "ra_cd_lx_m2": list(self.ra_cd_lx_m2),
            "known_age_count": self.known_age_count,
            "visit_count": self.visit_count,
        }

    @classmethod
    def from_json(cls, stored: dict[str, Any]) -> Self:
        """Return what was stored; of an empty record, a cloud of nothing."""
        return cls(
            tuple(stored.get("ages_years", ())),
            tuple(stored.get("ra_cd_lx_m2", ())),
            stored.get("known_age_count", 0),
            stored.get("visit_count", 0),
        )


def cloud_of(observations: Observations, *, most: int = MOST_POINTS) -> Cloud:
    """
    Return the visits of signs of known age, an even draw of at most ``most`` of them.

    The draw is always the same for the same readings.
    """
    places = np.flatnonzero(observations.is_age_known[observations.sign])
    known = len(places)
    if known > most:
        places = np.sort(np.random.default_rng(0).choice(places, most, replace=False))
    return Cloud(
        tuple(observations.age_years[places].round(2).tolist()),
        tuple(observations.ra_cd_lx_m2[places].round(1).tolist()),
        known,
        len(observations),
    )

"""Short words that change when what they stand for does: of a cohort's readings, of a sign."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.forecast.fit import METHOD_VERSION
from inventory.engineering.forecast.observations import UNKNOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.inspection.student import WholeArray
    from inventory.services.forecast.gathering import GatheredCohort


def cohort_fingerprint(
    gathered: GatheredCohort, level_cd_lx_m2: float | None, session_sd: float | None
) -> str:
    """
    Return a word of everything that a cohort's fit is made from, and of its usual level.

    Lots and sessions count by name and by which visits share one, not by their numbers, which
    depend on what else was gathered. Signs that were not read do not count.
    """
    seen = gathered.observations
    is_read = np.zeros(seen.sign_count, dtype=np.bool_)
    is_read[seen.sign] = True
    made = hashlib.sha256()
    head = (METHOD_VERSION, gathered.key.text, level_cd_lx_m2, session_sd)
    made.update("|".join(map(str, head)).encode())
    districts = seen.district[is_read]
    if (districts != UNKNOWN).any():
        # A stored fit knows districts by number.
        made.update("|".join(gathered.district_names).encode())
    for numbers, names, makers in (
        (seen.lot, gathered.lot_names, gathered.lot_makers),
        (seen.ink_lot, gathered.ink_lot_names, gathered.ink_lot_makers),
        (seen.overlay_lot, gathered.overlay_lot_names, gathered.overlay_lot_makers),
        (seen.run, gathered.run_names, gathered.run_makers),
    ):
        used, whose = np.unique(numbers[is_read], return_inverse=True)
        told = ["" if n == UNKNOWN else f"{makers[n]}/{names[n]}" for n in used.tolist()]
        order = np.argsort(np.array(told, dtype=object), kind="stable")
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        made.update("|".join(sorted(told)).encode())
        made.update(place[whose.ravel()].tobytes())
    for column in (
        gathered.sign_id[is_read],
        gathered.started_on[is_read],
        seen.is_age_known[is_read],
        seen.quadrant[is_read],
        districts,
        seen.sign,
        gathered.visited_on,
        seen.ra_cd_lx_m2,
        seen.reading_count,
        seen.repeatability_rel,
        _first_seen(seen.session),
    ):
        made.update(np.ascontiguousarray(column).tobytes())
    return made.hexdigest()


def text_fingerprint(parts: Sequence[object]) -> str:
    """Return a word of some values, by what they print as."""
    return hashlib.blake2b("|".join(map(str, parts)).encode(), digest_size=16).hexdigest()


def _first_seen(numbers: WholeArray) -> WholeArray:
    """Return numbers by the order in which each is first seen; −1 stays."""
    used, first, whose = np.unique(numbers, return_index=True, return_inverse=True)
    rank = np.empty(len(used), dtype=np.int64)
    rank[np.argsort(first, kind="stable")] = np.arange(len(used))
    rank[used == UNKNOWN] = UNKNOWN
    return rank[whose.ravel()]

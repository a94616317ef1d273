"""The shortest layout of boxes found in the time given, with the length none can go under."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

from inventory.engineering.ordering.layout.bounds import bar_bound
from inventory.engineering.ordering.layout.climbing import climb_down
from inventory.engineering.ordering.layout.kernels import warm_up
from inventory.engineering.ordering.layout.patterns import pack_layers
from inventory.engineering.ordering.layout.strip import StripLayout, layout_of, strip_of
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from inventory.engineering.ordering.layout.strip import Box, Packing

METHOD_VERSION = "layout-1"
_SHARE_OF_BOUND = 0.15  # of the time, at most
_SHARE_OF_LAYERS = 0.4  # by then
_SHARE_OF_CUTS = 0.5  # of what is left, where cuts are only one way to lay them


def lay_boxes(
    boxes: Sequence[Box],
    *,
    usable_width_in: float,
    gap_in: float,
    is_straight: bool,
    seconds: float,
    seed: int = 1,
    progress: Callable[[str], None] = lambda _: None,
    should_stop: Callable[[], bool] = lambda: False,
) -> StripLayout:
    """
    Return the shortest layout of boxes found in the time given.

    Faces of few sizes are laid in layers of columns, chosen by a whole-number programme; then
    orders of boxes are changed at random. Where the cutter takes any outline
    (``is_straight`` false) the shorter of a free and a straight layout is returned.

    Parameters
    ----------
    boxes : sequence of Box
        Sizes in inches, with ``can_turn``.
    usable_width_in, gap_in : float
        Width to lie in, and the least distance of two boxes. [in]
    is_straight : bool
        Whether cuts from edge to edge must part the boxes.
    seconds : float
        Time to search, 0.1 to 3,600. [s]
    seed : int
        The same seed gives the same search; where it is cut off depends on the machine.
    progress, should_stop
        Told what is done; asked whether to stop and keep the best.

    Returns
    -------
    StripLayout

    Raises
    ------
    OutOfRangeError
        See `strip_of`; or if the time is out of range.

    Examples
    --------
    >>> from inventory.engineering.ordering.layout.strip import Box
    >>> pair = [Box(key=n, width_in=23, length_in=30) for n in (1, 2)]
    >>> lay_boxes(pair, usable_width_in=48, gap_in=0.25, is_straight=True, seconds=1).length_in
    30.0
    """
    if not (math.isfinite(seconds) and 0.1 <= seconds <= 3_600):
        msg = f"A search of {seconds:g} s is out of range; it is 0.1 to 3,600 s."
        raise OutOfRangeError(msg)
    warm_up()
    began = time.monotonic()
    deadline = began + seconds
    strip = strip_of(boxes, usable_width_in=usable_width_in, gap_in=gap_in)
    progress("the length none can go under")
    bound = bar_bound(strip, deadline=began + seconds * _SHARE_OF_BOUND)
    progress("layers of columns")
    best: Packing | None = pack_layers(strip, deadline=began + seconds * _SHARE_OF_LAYERS)
    way = "layers of columns"
    straight = True
    now = time.monotonic()
    for cuts in (True,) if is_straight else (True, False):
        if (best is not None and best.top <= bound) or should_stop():
            break
        progress("orders parted by straight cuts" if cuts else "orders laid freely")
        until = deadline
        if not is_straight and cuts:
            until = now + (deadline - now) * _SHARE_OF_CUTS
        found = climb_down(
            strip,
            is_straight=cuts,
            best=best,
            bound=bound,
            deadline=until,
            seed=seed,
            should_stop=should_stop,
        )
        if found is not best:
            best, straight = found, cuts
            way = "boxes parted by straight cuts" if cuts else "boxes laid freely"
    if best is None:
        best = climb_down(
            strip, is_straight=True, best=None, bound=bound, deadline=began, seed=seed
        )
        way = "boxes parted by straight cuts"
    return layout_of(strip, best, bound=bound, is_straight=straight, way=way)

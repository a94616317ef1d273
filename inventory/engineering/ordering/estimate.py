"""What printing faces takes: time, ink by colour and overlay film, and where they run out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.engineering.production.press_time import press_minutes
from inventory.engineering.production.stock_life import ink_ml
from inventory.errors import OutOfRangeError
from inventory.units import INCHES_PER_FOOT

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_HAIR_IN = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceToPrint:
    """
    A face in the order in which it is printed.

    ``area_ft2`` is its own shape's area, ``box_ft2`` its rectangle's, which is what passes
    under the press; ``printed_colors`` are those that are not the sheeting's own.
    """

    key: int
    area_ft2: float
    box_ft2: float
    printed_colors: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotChannel:
    """
    A channel with an ink of one colour, and what is left in it.

    ``ml_per_m2`` is ink on a square metre it covers whole, measured on this press; none: not
    measured. ``cover_share`` is the share of a face it usually covers; none: not stated.
    """

    name: str
    color: str
    ml_per_m2: float | None
    cover_share: float | None
    left_ml: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InkNeeded:
    """
    Ink of one colour for all faces, shared evenly by the channels that carry it.

    ``needed_ml`` is none where ``why`` says what is not known. ``is_at_most``: a share is not
    stated, so that faces count as covered whole. ``runs_out_at`` is the key of the face during
    which what is left is used up, none if it lasts or if it is not known what is left.
    """

    color: str
    channels: tuple[str, ...]
    needed_ml: float | None
    left_ml: float | None
    is_at_most: bool = False
    runs_out_at: int | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """
    What a run takes.

    ``minutes`` has the set-up in it where that is stated; ``setup_minutes`` is none where not.
    """

    faces: int
    box_ft2: float
    minutes: float
    setup_minutes: float | None
    inks: tuple[InkNeeded, ...]


def estimate_run(
    faces: Sequence[FaceToPrint],
    channels: Iterable[SpotChannel],
    *,
    rate_ft2_per_h: float,
    setup_minutes: float | None,
) -> Estimate:
    """
    Return what printing faces takes, in the order in which they are printed.

    Parameters
    ----------
    faces : sequence of FaceToPrint
        In order along the roll.
    channels : iterable of SpotChannel
        Those of the press with an ink of one colour.
    rate_ft2_per_h : float
        Over zero. [ft²/h]
    setup_minutes : float or None
        Zero or more. [min]

    Raises
    ------
    OutOfRangeError
        If there is no face, an area or the set-up is negative, or the rate is not over zero.

    References
    ----------
    .. [1] Common practice, no source: time is area over rate, and set-up; two channels of one
       colour share its ink evenly; check value 48 ft² at 162 ft²/h, 17.8 min.

    Examples
    --------
    >>> twelve = [FaceToPrint(key=n, area_ft2=4, box_ft2=4, printed_colors=("red",))
    ...     for n in range(1, 13)]
    >>> red = SpotChannel(name="4", color="red", ml_per_m2=10, cover_share=0.5, left_ml=10)
    >>> told = estimate_run(twelve, [red], rate_ft2_per_h=162, setup_minutes=None)
    >>> round(told.minutes, 1), round(told.inks[0].needed_ml, 1), told.inks[0].runs_out_at
    (17.8, 22.3, 6)
    """
    if not faces:
        msg = "There is no face to estimate; lay out at least one."
        raise OutOfRangeError(msg)
    for face in faces:
        if not (math.isfinite(face.area_ft2) and 0 <= face.area_ft2 <= face.box_ft2 + 1e-9):
            msg = (
                f"Face {face.key} has an area of {face.area_ft2:g} ft² in a rectangle of "
                f"{face.box_ft2:g} ft²; it is zero or more, and no more than that."
            )
            raise OutOfRangeError(msg)
    if setup_minutes is not None and not (math.isfinite(setup_minutes) and setup_minutes >= 0):
        msg = f"A set-up of {setup_minutes:g} min is out of range; it is zero or more."
        raise OutOfRangeError(msg)
    box = sum(face.box_ft2 for face in faces)
    by_color: dict[str, list[SpotChannel]] = {}
    for channel in channels:
        by_color.setdefault(channel.color, []).append(channel)
    colors = sorted({color for face in faces for color in face.printed_colors})
    return Estimate(
        faces=len(faces),
        box_ft2=box,
        minutes=press_minutes(box, rate_ft2_per_h) + (setup_minutes or 0.0),
        setup_minutes=setup_minutes,
        inks=tuple(_ink(color, by_color.get(color, []), faces) for color in colors),
    )


def _ink(
    color: str, carrying: Sequence[SpotChannel], faces: Sequence[FaceToPrint]
) -> InkNeeded:
    names = tuple(channel.name for channel in carrying)
    left = None
    if carrying and all(channel.left_ml is not None for channel in carrying):
        left = sum(channel.left_ml or 0.0 for channel in carrying)
    if not carrying:
        why = "no channel carries it: mixed of process inks, which is not reckoned"
        return InkNeeded(color=color, channels=(), needed_ml=None, left_ml=None, why=why)
    measured = [each.ml_per_m2 for each in carrying if each.ml_per_m2 is not None]
    if len(measured) < len(carrying):
        why = "ink per area is not measured for every channel that carries it"
        return InkNeeded(color=color, channels=names, needed_ml=None, left_ml=left, why=why)
    shares = [1.0 if each.cover_share is None else each.cover_share for each in carrying]
    # Evenly shared: each channel lays its part of every face.
    per_ft2 = sum(
        ink_ml(1.0, each, share) / len(carrying)
        for each, share in zip(measured, shares, strict=True)
    )
    used = 0.0
    runs_out_at = None
    for face in faces:
        if color in face.printed_colors:
            used += face.area_ft2 * per_ft2
            if left is not None and used > left and runs_out_at is None:
                runs_out_at = face.key
    return InkNeeded(
        color=color,
        channels=names,
        needed_ml=used,
        left_ml=left,
        is_at_most=any(each.cover_share is None for each in carrying),
        runs_out_at=runs_out_at,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmStretch:
    """
    One load as overlay film goes over it: its whole length, and where each face ends.

    ``ends_in`` are keys of faces and their far ends from the start of the load. [in]
    """

    taken_in: float
    ends_in: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlayNeeded:
    """
    Length of overlay film for some loads, and what is left of the roll on the press.

    ``runs_out_at`` is the key of the first face that is not covered whole; none if the film
    lasts for every face or if it is not known what is left.
    """

    needed_ft: float
    left_ft: float | None
    runs_out_at: int | None


def overlay_needed(loads: Iterable[FilmStretch], *, left_ft: float | None) -> OverlayNeeded:
    """
    Return the film that some loads take, one after the other, and where it runs out.

    Parameters
    ----------
    loads : iterable of FilmStretch
        In the order in which they are printed; film is as long as what leaves the roll.
    left_ft : float or None
        Left of the roll on the press, zero or more; none: not known. [ft]

    Raises
    ------
    OutOfRangeError
        If what is left is negative or a face ends beyond its load.

    References
    ----------
    .. [1] Common practice, no source: film goes over the whole printed length, lead-in and
       tail with it.

    Examples
    --------
    >>> two = FilmStretch(taken_in=84, ends_in=((1, 36.0), (2, 72.0)))
    >>> told = overlay_needed([two, FilmStretch(taken_in=48, ends_in=((3, 36.0),))], left_ft=9)
    >>> told.needed_ft, told.runs_out_at
    (11.0, 3)
    """
    if left_ft is not None and not (math.isfinite(left_ft) and left_ft >= 0):
        msg = f"{left_ft:g} ft left of a roll are out of range; it is zero or more."
        raise OutOfRangeError(msg)
    left_in = math.inf if left_ft is None else left_ft * INCHES_PER_FOOT
    before_in = 0.0
    runs_out_at = None
    for load in loads:
        for key, end_in in sorted(load.ends_in, key=lambda each: each[1]):
            if not 0 <= end_in <= load.taken_in + _HAIR_IN:
                msg = f"Face {key} ends at {end_in:g} in of a load of {load.taken_in:g} in."
                raise OutOfRangeError(msg)
            if runs_out_at is None and before_in + end_in > left_in + _HAIR_IN:
                runs_out_at = key
        before_in += load.taken_in
    return OverlayNeeded(
        needed_ft=before_in / INCHES_PER_FOOT, left_ft=left_ft, runs_out_at=runs_out_at
    )

"""In which stretch of a run each of its faces was printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.engineering.production.printed_with import spans_of_faces
from inventory.models import LaidPiece
from inventory.services.production.roll_lengths import IN_PER_FT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.production.press_log import LoadedSpan
    from inventory.engineering.production.printed_with import FacePlace, FaceSpans
    from inventory.models import PrintRun


def spans_of_run(run: PrintRun, spans: Sequence[LoadedSpan]) -> dict[int, FaceSpans]:
    """
    Return the stretches each face of a run was printed in, by the sign's key.

    Where the run printed a frozen layout, its faces' places along the roll count; else their
    numbers in the run. Nothing is asked of the database for a run through which nothing changed
    but the faces themselves.
    """
    signs = list(run.signs.order_by("print_number", "pk").values_list("pk", flat=True))
    places = _places_ft(run, signs) if len(spans) > 1 else None
    found = spans_of_faces(spans, len(signs), places, run.roll_length_used_ft)
    return dict(zip(signs, found, strict=True))


def _places_ft(run: PrintRun, signs: Sequence[int]) -> list[FacePlace] | None:
    """Return from where to where each face lies along the roll, or none if one is unknown."""
    pieces = LaidPiece.objects.filter(face__printed_as__sign__print_run=run).values_list(
        "face__printed_as__sign", "corners_in"
    )
    ends: dict[int, list[float]] = {}
    for sign, corners in pieces:
        ends.setdefault(sign, []).extend(along / IN_PER_FT for _across, along in corners)
    if any(sign not in ends for sign in signs):
        return None
    return [(min(ends[sign]), max(ends[sign])) for sign in signs]


def stretch_words(faces: Sequence[FaceSpans], count: int) -> list[str]:
    """Return, for each stretch of a run, which of its faces were printed in it, in words."""
    words = []
    for number in range(count):
        within = [at for at, each in enumerate(faces, 1) if each.first <= number <= each.last]
        told = "no whole face"
        if within:
            first, last = min(within), max(within)
            told = f"face {first}" if first == last else f"faces {first} to {last}"
        words.append(f"Stretch {number + 1}: {told}")
    return words

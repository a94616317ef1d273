"""Which faces of a run were printed before and after something on the press was changed."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.engineering.production.press_log import LoadedSpan
from inventory.errors import OutOfRangeError

FacePlace = tuple[float, float]


@dataclass(frozen=True, slots=True)
class FaceSpans:
    """
    The spans of a run in which a face was printed, by number from 0, first and last.

    They differ for a face that was under the heads when the change was made.
    ``is_estimated``: somewhere in the run the position at a change was not noted exactly.
    """

    first: int
    last: int
    is_estimated: bool


def spans_of_faces(
    spans: Sequence[LoadedSpan],
    face_count: int,
    places_ft: Sequence[FacePlace] | None = None,
    length_ft: float | None = None,
) -> list[FaceSpans]:
    """
    Return in which spans each face of a run was printed.

    A change noted with the number of faces printed by then splits the run behind that face.
    One noted with a length splits it there, where the places of the faces are known. A change
    noted with neither splits it at the share of the run's time that had gone by, as if the
    press printed evenly and without a stop: that is an estimate, and marked as one.

    Parameters
    ----------
    spans : sequence of LoadedSpan
        What was loaded, as :func:`~.press_log.loaded_during` returns it for the whole run.
    face_count : int
        Faces of the run, numbered from 1 as they were printed.
    places_ft : sequence of (float, float), optional
        From where to where each face lies along the roll. [ft]
    length_ft : float, optional
        Length of the run. Without it, where the last of the places ends. [ft]

    Returns
    -------
    list of FaceSpans
        One for each face.

    Raises
    ------
    OutOfRangeError
        If there is no span, or there are not as many places as faces.

    References
    ----------
    .. [1] Common practice, no source: print positions are counted in faces or in length.

    Examples
    --------
    Ten faces in 59 minutes; a container was changed after 27, when the fifth was being printed:

    >>> from datetime import UTC, datetime
    >>> from inventory.engineering.production.press_log import Loaded
    >>> def at(minute): return datetime(2026, 5, 4, 9, minute, tzinfo=UTC)
    >>> spans = [LoadedSpan(at(0), at(27), Loaded()), LoadedSpan(at(27), at(59), Loaded())]
    >>> [(each.first, each.last) for each in spans_of_faces(spans, 10)][3:6]
    [(0, 0), (0, 1), (1, 1)]
    """
    if not spans:
        msg = "A run needs at least one stretch of time in which it was printed."
        raise OutOfRangeError(msg)
    if places_ft is not None and len(places_ft) != face_count:
        msg = f"{len(places_ft)} places were given for {face_count} faces; give one for each."
        raise OutOfRangeError(msg)
    if places_ft and length_ft is None:
        length_ft = max(end for _start, end in places_ft)
    changes = [_Change.of(span, spans, length_ft, places_ft) for span in spans[:-1]]
    is_estimated = any(change.is_estimated for change in changes)
    found = []
    for number in range(1, face_count + 1):
        place = None if places_ft is None else places_ft[number - 1]
        first = last = 0
        for at, change in enumerate(changes, start=1):
            before, after = change.sides(number, face_count, place, length_ft)
            if after:
                last = at
                if not before:
                    first = at
        found.append(FaceSpans(first, last, is_estimated))
    return found


@dataclass(frozen=True, slots=True)
class _Change:
    """Where a run was when something was changed: after a face, at a length or at a share."""

    after_face: int | None
    after_ft: float | None
    share: float
    is_estimated: bool

    @classmethod
    def of(
        cls,
        span: LoadedSpan,
        spans: Sequence[LoadedSpan],
        length_ft: float | None,
        places_ft: Sequence[FacePlace] | None,
    ) -> "_Change":
        started_at, finished_at = spans[0].started_at, spans[-1].finished_at
        share = (span.finished_at - started_at) / (finished_at - started_at)
        after_ft = span.until_ft if places_ft is not None else None
        if span.until_ft is not None and places_ft is None and length_ft:
            share = min(1.0, span.until_ft / length_ft)
        is_estimated = span.until_face is None and after_ft is None
        return cls(span.until_face, after_ft, share, is_estimated)

    def sides(
        self, number: int, count: int, place: FacePlace | None, length_ft: float | None
    ) -> tuple[bool, bool]:
        """Return whether some of a face was printed before the change, and some after it."""
        if self.after_face is not None:
            return number <= self.after_face, number > self.after_face
        if place is not None and length_ft is not None:
            limit = self.share * length_ft if self.after_ft is None else self.after_ft
            return place[0] < limit, place[1] > limit
        return (number - 1) / count < self.share, number / count > self.share

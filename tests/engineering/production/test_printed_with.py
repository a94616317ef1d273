"""
Which faces of a run lie before and after a change.

Common practice, no source: the press counts faces or length; checked by hand here.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from inventory.engineering.production.press_log import (
    LoggedEvent,
    PressEventKind,
    loaded_during,
)
from inventory.engineering.production.printed_with import spans_of_faces
from inventory.errors import OutOfRangeError

START = datetime(2026, 5, 4, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)


def spans(*changes):
    """Return the spans of an hour's run with a red container changed at these minutes."""
    log = [
        LoggedEvent(
            key=1,
            kind=PressEventKind.INK_CHANGED,
            happened_at=START - HOUR,
            ink_channel="R1",
            ink_lot="A",
        )
    ]
    for key, (minute, noted) in enumerate(changes, start=2):
        log.append(
            LoggedEvent(
                key=key,
                kind=PressEventKind.INK_CHANGED,
                happened_at=START + timedelta(minutes=minute),
                ink_channel="R1",
                ink_lot="ABC"[key - 1],
                **noted,
            )
        )
    return loaded_during(log, START, START + HOUR)


def told(faces):
    return [(each.first, each.last) for each in faces]


def test_a_noted_number_of_faces_splits_the_run_there_whatever_the_time_says():
    faces = spans_of_faces(spans((6, {"after_face": 7})), 10)
    assert told(faces) == [(0, 0)] * 7 + [(1, 1)] * 3
    assert not any(each.is_estimated for each in faces)


def test_a_noted_length_splits_the_run_where_the_faces_lie():
    places = [(0.5, 3.0), (0.5, 3.0), (3.1, 5.6), (5.7, 8.2)]
    faces = spans_of_faces(spans((55, {"after_ft": 4.0})), 4, places)
    # The third lay under the heads: it has ink of both containers.
    assert told(faces) == [(0, 0), (0, 0), (0, 1), (1, 1)]
    assert not any(each.is_estimated for each in faces)


def test_a_length_without_places_is_a_share_of_the_runs_length_and_estimated():
    faces = spans_of_faces(spans((55, {"after_ft": 10.0})), 4, length_ft=40.0)
    assert told(faces) == [(0, 0), (1, 1), (1, 1), (1, 1)]
    assert all(each.is_estimated for each in faces)


def test_without_a_note_the_share_of_time_splits_the_run_and_it_says_so():
    faces = spans_of_faces(spans((24, {})), 10)
    assert told(faces) == [(0, 0)] * 4 + [(1, 1)] * 6
    assert all(each.is_estimated for each in faces)
    places = [(0.0, 9.0), (9.0, 10.0)]
    by_place = spans_of_faces(spans((24, {})), 2, places)
    assert told(by_place) == [(0, 1), (1, 1)]


def test_two_changes_make_three_parts_and_one_estimate_marks_all():
    faces = spans_of_faces(spans((20, {"after_face": 2}), (30, {"after_face": 3})), 5)
    assert told(faces) == [(0, 0), (0, 0), (1, 1), (2, 2), (2, 2)]
    half_noted = spans_of_faces(spans((20, {"after_face": 2}), (30, {})), 4)
    assert told(half_noted) == [(0, 0), (0, 0), (2, 2), (2, 2)]
    assert all(each.is_estimated for each in half_noted)


def test_a_run_in_which_nothing_changed_is_one_part_and_certain():
    faces = spans_of_faces(spans(), 3)
    assert told(faces) == [(0, 0)] * 3
    assert not any(each.is_estimated for each in faces)


@pytest.mark.parametrize("count", [1, 2, 7, 50])
@pytest.mark.parametrize("minute", [1, 17, 30, 59])
def test_every_face_has_a_part_and_parts_follow_one_another(count, minute):
    faces = told(spans_of_faces(spans((minute, {})), count))
    assert faces == sorted(faces)
    assert faces[0][0] == 0
    assert faces[-1][1] == 1


def test_what_makes_no_run_is_refused():
    with pytest.raises(OutOfRangeError, match="at least one stretch"):
        spans_of_faces([], 3)
    with pytest.raises(OutOfRangeError, match="1 places were given for 3 faces"):
        spans_of_faces(spans((9, {})), 3, [(0.0, 1.0)])

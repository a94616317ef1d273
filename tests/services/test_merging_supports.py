"""Two records of one support: put together by new rows, and taken apart again."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import Position, Sign, Standing, Support
from inventory.services.assessment import mark_due
from inventory.services.merging import merge_supports, undo_support_merge
from inventory.services.relinks import supports_kept_for
from inventory.services.support_moves import move_support
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_sign,
    make_support,
    position_of,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)


@pytest.fixture
def agency():
    return make_agency()


def test_what_hangs_on_the_duplicate_post_hangs_on_the_one_kept(agency):
    kept = make_support(agency)
    duplicate = make_support(agency, latitude_deg=43.0001)
    sign = make_sign(agency, position=make_position(agency, support=duplicate))
    empty = make_position(agency, support=duplicate)
    mark_due(organisation=agency, now=NOW)
    merged = merge_supports(kept=kept, duplicate=duplicate, reason="one post", now=NOW)
    assert set(kept.positions.all()) == {position_of(sign), empty}
    assert not duplicate.positions.exists()
    assert Standing.objects.get(sign=sign).latitude_deg == 43.0
    assert supports_kept_for([duplicate.pk]) == {duplicate.pk: kept.pk}
    assert "2 places moved over" in sign.logbook.get(verb="merge supports").text
    undo_support_merge(merge=merged, reason="two posts", now=LATER)
    assert set(duplicate.positions.all()) == {position_of(sign), empty}
    assert Standing.objects.get(sign=sign).latitude_deg == 43.0001
    assert supports_kept_for([duplicate.pk]) == {}


def test_an_empty_duplicate_post_is_merged_and_noted(agency):
    kept, duplicate = make_support(agency), make_support(agency)
    merged = merge_supports(kept=kept, duplicate=duplicate, reason="one post", now=NOW)
    assert merged.positions.count() == 0
    assert agency.logbook.filter(verb="merge supports", sign=None).count() == 1


def test_merges_of_posts_are_undone_the_last_one_first(agency):
    first, second, third = (make_support(agency) for _ in range(3))
    position = make_position(agency, support=third)
    early = merge_supports(kept=second, duplicate=third, reason="one", now=NOW)
    late = merge_supports(kept=first, duplicate=second, reason="one", now=NOW)
    position.refresh_from_db()
    assert position.support == first
    with pytest.raises(StateConflictError, match="undo that merge first"):
        undo_support_merge(merge=early, reason="no", now=LATER)
    undo_support_merge(merge=late, reason="no", now=LATER)
    undo_support_merge(merge=early, reason="no", now=LATER)
    position.refresh_from_db()
    assert position.support == third
    with pytest.raises(StateConflictError, match="was undone at"):
        undo_support_merge(merge=late, reason="no", now=LATER)


def test_a_place_that_was_hung_elsewhere_since_is_not_taken_back(agency):
    kept, duplicate = make_support(agency), make_support(agency)
    position = make_position(agency, support=duplicate)
    merged = merge_supports(kept=kept, duplicate=duplicate, reason="one", now=NOW)
    Position.objects.filter(pk=position.pk).update(support=make_support(agency))
    with pytest.raises(StateConflictError, match="undo what moved it there first"):
        undo_support_merge(merge=merged, reason="no", now=LATER)


def test_posts_of_two_agencies_or_one_with_itself_are_refused(agency):
    support = make_support(agency)
    with pytest.raises(NotPermittedError):
        merge_supports(kept=support, duplicate=make_support(make_agency()), reason="x", now=NOW)
    with pytest.raises(OutOfRangeError, match="with itself"):
        merge_supports(kept=support, duplicate=support, reason="x", now=NOW)
    with pytest.raises(OutOfRangeError, match="the two are one post"):
        merge_supports(kept=support, duplicate=make_support(agency), reason="", now=NOW)


@pytest.mark.django_db(transaction=True)
def test_a_post_is_moved_and_merged_at_once_and_nothing_hangs_in_between():
    agency = make_agency()
    kept, duplicate = make_support(agency), make_support(agency, latitude_deg=43.0001)
    sign = make_sign(agency, position=make_position(agency, support=duplicate))
    at_once(
        lambda: merge_supports(kept=kept, duplicate=duplicate, reason="one", now=NOW),
        lambda: move_support(support=kept, latitude_deg=44.0, longitude_deg=-89.5, now=NOW),
    )
    assert position_of(Sign.objects.get(pk=sign.pk)).support == kept
    standing = Standing.objects.get(sign=sign)
    assert standing.latitude_deg == Support.objects.get(pk=kept.pk).latitude_deg == 44.0

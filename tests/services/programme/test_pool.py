"""What of a programme is still to be done follows from faces, packages and what crews said."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from inventory.errors import OutOfRangeError
from inventory.models import PlannedReplacement, Sign
from inventory.services.installation import install_sign, remove_sign
from inventory.services.merging import merge_supports
from inventory.services.programme.pool import (
    State,
    counts_of,
    in_state,
    pool,
    state_of,
    with_state,
)
from inventory.services.work_packages import (
    WantedStop,
    close_package,
    hand_out,
    make_package,
    record_stop,
    take_back,
)
from tests.factories import NOW, make_agency, make_sign, make_support, position_of
from tests.web.programme_records import make_programme_row, plan

pytestmark = pytest.mark.django_db
DAY = date(2027, 5, 4)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def planned(agency):
    return plan(make_programme_row(agency), make_sign(agency), 2027)


def package_for(planned, title="North round", task="replace", **fields):
    package = make_package(
        organisation=planned.programme.organisation,
        title=title,
        work_on=DAY,
        stops=[WantedStop(planned.position, task)],
        now=NOW,
        **fields,
    )
    return hand_out(package=package, now=NOW)


def said(planned, outcome, reason="", package=None, at=NOW):
    package = package or package_for(planned)
    record_stop(
        stop=package.stops.get(), outcome=outcome, reason=reason, happened_at=at, now=at
    )
    return package


def put_up_a_new_face(agency, planned, removal_reason="aged"):
    face = Sign.objects.create(
        owner=agency, state="in_stock", sign_code="R1-1", width_in=30.0, height_in=30.0
    )
    return install_sign(
        sign=face,
        position=planned.position,
        installed_on=NOW.date(),
        removal_reason=removal_reason,
        now=NOW,
    )


def pooled(planned, **fields):
    return list(pool(programme=planned.programme, year=2027, **fields))


def test_what_nobody_touched_is_to_do(planned):
    assert pooled(planned) == [planned]
    assert state_of(planned).state == State.TO_DO


def test_what_waits_in_a_package_is_not_planned_twice(planned):
    package = package_for(planned)
    assert pooled(planned) == []
    state = state_of(planned)
    assert (state.state, state.package_id) == (State.IN_PACKAGE, package.pk)
    assert state.words == "in package 'North round' of 2027-05-04"
    # Taken back to the desk it is still being put together; closed it is free again.
    take_back(package=package, now=NOW)
    assert pooled(planned) == []
    close_package(package=package, now=NOW)
    assert pooled(planned) == [planned]


def test_a_package_that_only_reads_the_sign_leaves_it_to_do(planned):
    package_for(planned, task="read")
    assert pooled(planned) == [planned]


def test_what_was_not_done_returns_with_its_reason(planned):
    said(planned, "not_done", "parked cars")
    assert pooled(planned) == [planned]
    state = state_of(pooled(planned)[0])
    assert state.state == State.NOT_DONE
    assert state.words == f"not done on {NOW:%Y-%m-%d}: parked cars; to do again"


def test_said_done_without_a_new_face_is_neither_done_nor_sent_out_again(planned):
    package = said(planned, "done")
    close_package(package=package, now=NOW)
    assert pooled(planned) == []
    assert state_of(planned).state == State.SAID_DONE
    assert "no new face is on record" in state_of(planned).words


def test_the_newest_word_counts(planned):
    package = said(planned, "done")
    said(planned, "not_done", "wrong face", package=package, at=NOW + timedelta(hours=1))
    assert state_of(planned).state == State.NOT_DONE


def test_a_new_face_on_the_post_is_done_whatever_was_said(agency, planned):
    put_up_a_new_face(agency, planned)
    assert pooled(planned) == []
    assert state_of(planned).words == f"done on {NOW:%Y-%m-%d}"


def test_what_was_said_of_the_face_before_says_nothing_of_this_one(agency, planned):
    said(planned, "done")
    face = put_up_a_new_face(agency, planned)
    later = make_programme_row(agency, "Next ten years")
    again = plan(later, Sign.objects.get(pk=face.pk), 2027)
    assert state_of(again).state == State.TO_DO


def test_a_month_has_what_is_due_by_its_end_and_what_has_no_due_date(agency):
    programme = make_programme_row(agency)
    late = plan(programme, make_sign(agency), 2027, due_on=date(2026, 11, 1))
    may = plan(programme, make_sign(agency), 2027, due_on=date(2027, 5, 31))
    plan(programme, make_sign(agency), 2027, due_on=date(2027, 6, 1))
    unknown = plan(programme, make_sign(agency), 2027)
    found = set(pool(programme=programme, year=2027, month=5))
    assert found == {late, may, unknown}
    with pytest.raises(OutOfRangeError, match="no month 13"):
        pool(programme=programme, year=2027, month=13)


def test_the_states_of_a_year_are_told_in_one_query(agency, django_assert_num_queries):
    programme = make_programme_row(agency)
    rows = [plan(programme, make_sign(agency), 2027) for _ in range(4)]
    package_for(rows[0], "One")
    said(rows[1], "not_done", "weather", package_for(rows[1], "Two"))
    said(rows[2], "done", package=package_for(rows[2], "Three"))
    with django_assert_num_queries(1):
        counts = counts_of(programme=programme, year=2027)
    assert counts == {
        "to_do": 1, "in_package": 1, "said_done": 1, "not_done": 1, "done": 0,
    }  # fmt: skip
    with django_assert_num_queries(1):
        states = [state_of(each).state for each in with_state(PlannedReplacement.objects.all())]
    assert len(states) == 4
    every = with_state(PlannedReplacement.objects.filter(programme=programme))
    for state, count in counts.items():
        assert in_state(every, state).count() == count
    with pytest.raises(OutOfRangeError, match="'lost' is no state"):
        in_state(every, "lost")


def test_a_pole_recorded_twice_does_not_make_its_signs_done(agency, planned):
    kept = make_support(agency)
    merge_supports(
        kept=kept, duplicate=position_of(planned.sign).support, reason="one post", now=NOW
    )
    assert pooled(planned) == [planned]


@pytest.mark.parametrize(
    ("reason", "is_to_do"),
    [("stolen", True), ("damaged", True), ("not_needed", False)],
)
def test_a_face_that_came_down_leaves_its_place_to_do_until_one_is_up(
    agency, planned, reason, is_to_do
):
    sign = Sign.objects.get(pk=planned.sign_id)
    remove_sign(sign=sign, removed_on=NOW.date(), reason=reason, now=NOW)
    state = state_of(planned)
    counts = counts_of(programme=planned.programme, year=2027)
    assert (pooled(planned) == [planned]) is is_to_do is state.is_to_do
    assert counts["to_do" if is_to_do else "done"] == 1
    expected = "no face up since; to put up" if is_to_do else "taken down for good"
    assert expected in state.words
    if is_to_do:
        package_for(planned, task="install")
        assert state_of(planned).state == State.IN_PACKAGE
        put_up_a_new_face(agency, planned, removal_reason="")
        assert state_of(planned).words.startswith("done")
        assert pooled(planned) == []

"""Two records of one post or one face: put together by new rows, and taken apart again."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import (
    Assessment,
    Inspection,
    Position,
    RelinkedInspection,
    Sign,
    SignMerge,
    SignMergeUndo,
    Standing,
    Support,
)
from inventory.services.assessment import assess_signs
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.instruments import record_check
from inventory.services.judging import gather
from inventory.services.merging import (
    merge_signs,
    merge_supports,
    undo_sign_merge,
    undo_support_merge,
)
from inventory.services.people import create_organisation
from inventory.services.relinks import signs_kept_for
from inventory.services.sign_record import sign_record
from inventory.services.standards import code_book
from inventory.services.standing import lock_signs
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_person,
    make_position,
    make_rating,
    make_released_order,
    make_shop,
    make_sign,
    make_support,
    position_of,
)
from tests.races import at_once
from tests.services.exchange.phones import Phone, readings_of

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)
SAME = "seen from both sides: one face"


@pytest.fixture
def agency():
    return make_agency()


def read(sign, white="60", red="12", *, hours_ago=1, **fields):
    return record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(hours=hours_ago),
        how="hand_held",
        reading_sets=[
            ReadingSetInput("white", [white] * 4),
            ReadingSetInput("red", [red] * 4),
        ],
        now=NOW,
        **fields,
    )


def merge(kept, duplicate, reason=SAME, now=NOW):
    return merge_signs(kept=kept, duplicate=duplicate, reason=reason, now=now)


def undo(merged, now=LATER):
    return undo_sign_merge(merge=merged, reason="two faces after all", now=now)


def verdict(sign):
    return Standing.objects.get(sign=sign).verdict


# --- signs -----------------------------------------------------------------------------------


def test_what_was_read_on_the_duplicate_counts_for_the_one_kept(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    first = read(kept, "60", "12", hours_ago=48)
    # White on red: 35 and 7 are the least, and the contrast 3:1 (MUTCD Table 2A-5).
    second = read(duplicate, "30", "5", hours_ago=2)
    assert (verdict(kept), verdict(duplicate)) == ("meets", "below")
    merge(kept, duplicate)
    assert verdict(kept) == "below"
    assert not Standing.objects.filter(sign=duplicate).exists()
    newest = Assessment.objects.filter(sign=kept).first()
    assert newest is not None
    assert newest.inspection == second
    # Nothing that was recorded has changed: the inspection is still of the duplicate.
    second.refresh_from_db()
    assert second.sign == duplicate
    assert RelinkedInspection.objects.get().sign == kept
    record = sign_record(sign=kept, organisation=agency)
    assert [each.pk for each in record.inspections] == [second.pk, first.pk]


def test_the_duplicate_comes_down_as_recorded_twice_and_its_place_is_retired(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    engineer = make_person(agency)
    merged = merge_signs(kept=kept, duplicate=duplicate, reason=SAME, by=engineer, now=NOW)
    duplicate.refresh_from_db()
    assert (duplicate.state, duplicate.removal_reason) == ("removed", "duplicate")
    assert duplicate.removed_on == agency.day_of(NOW)
    assert position_of(duplicate).is_retired
    assert not position_of(kept).is_retired
    assert (merged.duplicate_state, merged.merged_by) == ("installed", engineer)
    assert merged.retired_position == position_of(duplicate)
    for sign in (kept, duplicate):
        assert SAME in sign.logbook.get(verb="merge signs").text


def test_what_was_seen_and_rated_on_the_duplicate_counts_too(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    record_inspection(
        sign=duplicate,
        taken_at=NOW - timedelta(hours=1),
        how="visual_night",
        observations=[ObservationInput(kind="bent", severity=3)],
        visual_rating=make_rating(is_adequate=False),
        now=NOW,
    )
    merge(kept, duplicate)
    standing = Standing.objects.get(sign=kept)
    assert standing.condition == Standing.Condition.SEVERE
    assert standing.last_inspected_on == agency.day_of(NOW)
    assert standing.is_due
    undo(SignMerge.objects.get())
    standing = Standing.objects.get(sign=kept)
    assert (standing.condition, standing.last_inspected_on) == (0, None)
    assert Standing.objects.get(sign=duplicate).condition == Standing.Condition.SEVERE


def test_a_doubt_about_a_reading_goes_with_it(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    instrument = make_instrument(agency)
    read(duplicate, instrument=instrument)
    record_check(
        instrument=instrument,
        moment="after",
        reference="250",
        shown="200",
        checked_at=NOW,
        now=NOW,
    )
    assert verdict(duplicate) == "no usable reading"
    merge(kept, duplicate)
    assert verdict(kept) == "no usable reading"
    (row, *_) = sign_record(sign=kept, organisation=agency).readings
    assert "check" in row.not_judged


def test_a_corrected_reading_of_the_duplicate_does_not_count(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    wrong = read(duplicate, "3", "1")
    read(duplicate, "60", "12", corrects=wrong)
    merge(kept, duplicate)
    assert verdict(kept) == "meets"


def test_undoing_gives_each_its_own_again(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    read(kept, "60", "12", hours_ago=48)
    read(duplicate, "30", "5")
    merged = merge(kept, duplicate)
    undone = undo(merged)
    assert (verdict(kept), verdict(duplicate)) == ("meets", "below")
    duplicate.refresh_from_db()
    assert (duplicate.state, duplicate.removed_on, duplicate.removal_reason) == (
        "installed",
        None,
        "",
    )
    assert not position_of(duplicate).is_retired
    assert undone.reason == "two faces after all"
    assert SignMerge.objects.count() == 1  # the merge itself stays on record


def test_what_is_recorded_while_merged_stays_with_the_one_kept(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    merged = merge(kept, duplicate)
    assert signs_kept_for([duplicate.pk, kept.pk]) == {duplicate.pk: kept.pk}
    read(kept, "30", "5")
    undo(merged)
    assert (verdict(kept), verdict(duplicate)) == ("below", "no usable reading")
    assert signs_kept_for([duplicate.pk]) == {}


def test_on_the_duplicate_itself_nothing_more_is_recorded_while_merged(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    merged = merge(kept, duplicate)
    with pytest.raises(StateConflictError, match=f"it is sign {kept.pk}. Record this on"):
        read(duplicate)
    undo(merged)
    read(duplicate)
    assert verdict(duplicate) == "meets"


def test_a_face_taken_down_before_keeps_its_day_and_its_reason(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    read(duplicate, "60", "12")
    before = {"state": "removed", "removed_on": NOW.date(), "removal_reason": "stolen"}
    Sign.objects.filter(pk=duplicate.pk).update(**before)
    merged = merge(kept, duplicate)
    assert verdict(kept) == "meets"
    undo(merged)
    assert Sign.objects.filter(pk=duplicate.pk, **before).exists()
    assert not position_of(duplicate).is_retired


def test_three_records_of_one_face_count_for_the_last_one_kept(agency):
    first, second, third = (make_sign(agency) for _ in range(3))
    read(third, "30", "5")
    early = merge(second, third)
    late = merge(first, second)
    assert verdict(first) == "below"
    assert signs_kept_for([third.pk]) == {third.pk: first.pk}
    with pytest.raises(StateConflictError, match="undo that merge first"):
        undo(early)
    undo(late)
    assert (verdict(first), verdict(second)) == ("no usable reading", "below")
    undo(early)
    assert verdict(third) == "below"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([{"label_id": "000-01Y"}, {"label_id": "001-0JK"}], "two labels are two faces"),
        ([{}, {"label_id": "001-0JK"}], "so that its label still finds it"),
        (
            [{"state": "removed", "removal_reason": "stolen", "removed_on": NOW.date()}, {}],
            "keep the one that stands",
        ),
        ([{}, {"state": "in_stock", "position": None}], "is in stock"),
    ],
)
def test_two_that_cannot_be_one_are_refused(agency, changes, words):
    signs = [make_sign(agency), make_sign(agency)]
    for sign, change in zip(signs, changes, strict=True):
        Sign.objects.filter(pk=sign.pk).update(**change) if change else None
    with pytest.raises(StateConflictError, match=words):
        merge(*signs)
    assert not SignMerge.objects.exists()


def test_a_merge_says_why_and_is_of_two_signs_of_one_agency(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    with pytest.raises(OutOfRangeError, match="Say in a few words why the two are one face"):
        merge(kept, duplicate, reason=" ")
    with pytest.raises(OutOfRangeError, match="cannot be merged with itself"):
        merge(kept, kept)
    with pytest.raises(NotPermittedError, match="one agency"):
        merge(kept, make_sign(make_agency()))
    merged = merge(kept, duplicate)
    with pytest.raises(StateConflictError, match="is merged into sign"):
        merge(make_sign(agency), duplicate)
    with pytest.raises(StateConflictError, match="is merged into sign"):
        merge(duplicate, make_sign(agency))
    with pytest.raises(OutOfRangeError, match="why the merge is undone"):
        undo_sign_merge(merge=merged, reason="", now=LATER)
    undo(merged)
    with pytest.raises(StateConflictError, match=r"was undone at .*: two faces after all"):
        undo(merged)


def test_a_place_with_an_open_order_is_not_retired_under_it(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    order = make_released_order(agency, make_shop(agency=agency), [duplicate])
    with pytest.raises(StateConflictError, match=f"Order {order.number} asks for a face"):
        merge(kept, duplicate)
    # The other way round nothing stands in the way.
    merge(duplicate, kept)


def test_a_place_taken_meanwhile_is_not_given_back(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    merged = merge(kept, duplicate)
    place = position_of(duplicate)
    other = make_sign(agency, position=place)
    with pytest.raises(StateConflictError, match=f"Sign {other.pk} .*was put up where"):
        undo(merged)
    assert not SignMergeUndo.objects.exists()


def test_an_agency_without_rules_merges_too():
    agency = create_organisation(name="New County", kind="agency")
    kept, duplicate = make_sign(agency), make_sign(agency)
    merged = merge(kept, duplicate)
    assert Standing.objects.filter(sign=kept).exists()
    undo(merged)
    assert Standing.objects.filter(sign=duplicate).exists()


def test_what_counts_for_many_signs_is_found_in_the_same_queries(
    agency, django_assert_num_queries
):
    pairs = [(make_sign(agency), make_sign(agency)) for _ in range(3)]
    for one, other in pairs:
        read(other)
        merge(one, other)
    kept = lock_signs([pair[0].pk for pair in pairs])
    book = code_book(agency)
    with django_assert_num_queries(6):
        gathered = gather(kept, book, ZoneInfo("UTC"))
    assert [len(each.readings) for each in gathered] == [2, 2, 2]


# --- merge, then undo: as if it had not been -------------------------------------------------

values = st.integers(min_value=1, max_value=120).map(str)
visits = st.lists(
    st.one_of(
        st.tuples(st.just("read"), st.integers(1, 200), values, values),
        st.tuples(st.just("seen"), st.integers(1, 200), st.integers(1, 3), st.just("")),
        st.tuples(st.just("rated"), st.integers(1, 200), st.booleans(), st.just("")),
    ),
    max_size=3,
)


def visit(sign, what):
    kind, hours_ago, first, second = what
    if kind == "read":
        read(sign, first, second, hours_ago=hours_ago, is_confirmed=True)
        return
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(hours=hours_ago),
        how="visual_night",
        observations=[ObservationInput("bent", first)] if kind == "seen" else [],
        visual_rating=make_rating(is_adequate=first) if kind == "rated" else None,
        now=NOW,
    )


def as_it_is(agency):
    """Return everything that a merge touches, as a person would find it."""
    left_out = {"id", "assessment_id", "rebuilt_at"}
    standings = [
        {name: value for name, value in row.items() if name not in left_out}
        for row in Standing.objects.owned_by(agency).order_by("sign").values()
    ]
    newest = [
        Assessment.objects.filter(sign=sign)
        .values_list("verdict", "reason", "facts", "inspection")
        .first()
        for sign in Sign.objects.owned_by(agency).order_by("pk")
    ]
    return (
        standings,
        newest,
        list(Position.objects.owned_by(agency).order_by("pk").values()),
        list(Support.objects.owned_by(agency).order_by("pk").values()),
        list(Sign.objects.owned_by(agency).order_by("pk").values()),
        list(Inspection.objects.owned_by(agency).order_by("pk").values()),
    )


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(visits, min_size=3, max_size=3), st.permutations([0, 1, 2]), st.booleans())
def test_a_merge_that_is_undone_leaves_everything_as_it_was(seen, order, has_two_merges):
    with transaction.atomic():
        agency = make_agency()
        supports = [make_support(agency, latitude_deg=43 + n / 10_000) for n in range(3)]
        signs = [
            make_sign(agency, position=make_position(agency, support=support))
            for support in supports
        ]
        for sign, each in zip(signs, seen, strict=True):
            for what in each:
                visit(sign, what)
        assess_signs(organisation=agency, now=NOW)
        before = as_it_is(agency)
        one, two, three = order
        merges = [merge(signs[one], signs[two], now=NOW)]
        posts = [
            merge_supports(kept=supports[one], duplicate=supports[two], reason="x", now=NOW)
        ]
        if has_two_merges:
            merges.append(merge(signs[three], signs[one], now=NOW))
            posts.append(
                merge_supports(
                    kept=supports[three], duplicate=supports[one], reason="x", now=NOW
                )
            )
        while merges:
            undo(merges.pop(), now=NOW)
            undo_support_merge(merge=posts.pop(), reason="no", now=NOW)
        assert as_it_is(agency) == before
        transaction.set_rollback(True)


# --- two engineers at once -------------------------------------------------------------------


def named(outcomes):
    return sorted(type(each).__name__ for each in outcomes)


@pytest.mark.django_db(transaction=True)
def test_two_who_merge_the_same_two_signs_each_their_way_merge_once():
    agency = make_agency()
    one, other = make_sign(agency), make_sign(agency)
    outcomes = at_once(lambda: merge(one, other), lambda: merge(other, one))
    assert named(outcomes) == ["NoneType", "StateConflictError"]
    assert SignMerge.objects.count() == 1
    assert Sign.objects.filter(state=Sign.State.INSTALLED).count() == 1


@pytest.mark.django_db(transaction=True)
def test_what_a_phone_sends_on_the_duplicate_while_it_is_merged_counts_for_the_one_kept():
    agency = make_agency()
    kept, duplicate = make_sign(agency), make_sign(agency)
    phone = Phone(agency)
    phone.record("inspection", readings_of({"id": duplicate.pk}, "60", "12"))
    at_once(phone.send, lambda: merge(kept, duplicate))
    # Stored on the one sign or on the other, whichever came first: it counts all the same.
    assert Inspection.objects.count() == 1
    assert verdict(kept) == "meets"


@pytest.mark.django_db(transaction=True)
def test_a_merge_is_undone_once_by_two_at_once():
    agency = make_agency()
    merged = merge(make_sign(agency), make_sign(agency))
    assert named(at_once(lambda: undo(merged), lambda: undo(merged))) == [
        "NoneType",
        "StateConflictError",
    ]
    assert Sign.objects.filter(state=Sign.State.INSTALLED).count() == 2

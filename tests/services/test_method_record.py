"""The method record of a day, as known then and as known now."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import OutOfRangeError
from inventory.models import Inspection
from inventory.services.assessment import assess_sign, assess_signs, decide_disposition
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.installation import install_sign
from inventory.services.merging import merge_signs, undo_sign_merge
from inventory.services.method_coverage import as_known
from inventory.services.method_findings import seen_on
from inventory.services.method_record import groups_today, method_record
from inventory.services.methods import (
    assign,
    create_group,
    record_step,
    set_control_signs,
)
from inventory.services.people import set_policy
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_rating,
    make_sign,
    position_of,
)

pytestmark = pytest.mark.django_db

START = date(2020, 1, 1)
DAY = date(2026, 5, 20)
NOON = datetime(2026, 5, 20, 12, tzinfo=UTC)
BRIGHT, DIM = {"white": "200", "red": "40"}, {"white": "200", "red": "3"}


def read(sign, values=BRIGHT, *, at=NOON, recorded=None, **fields: Any) -> Inspection:
    return record_inspection(
        sign=sign,
        taken_at=at,
        how=fields.pop("how", "hand_held"),
        reading_sets=[ReadingSetInput(color, [text] * 4) for color, text in values.items()],
        now=recorded or at,
        **fields,
    )


def begin(agency, method="measured", **fields: Any):
    defaults: dict[str, Any] = {
        "name": method,
        "method": method,
        "started_on": START,
        "basis": "county board",
        "now": datetime(2020, 1, 1, tzinfo=UTC),
    }
    if method not in ("expected_life", "excluded"):
        defaults["interval_months"] = 24
    return create_group(organisation=agency, **defaults | fields)


def put_under(group, *signs, from_on=START, now=datetime(2020, 1, 2, tzinfo=UTC)):
    places = [position_of(sign) for sign in signs]
    return assign(group=group, positions=places, from_on=from_on, now=now)


def record(agency, on=DAY, known="now"):
    return method_record(organisation=agency, on=on, known=known, now=NOW)


def old_agency(**policy):
    """Return an agency whose rules were recorded long before the day asked about."""
    agency = make_agency(**policy)
    rules: dict[str, Any] = {"edition": "11th-2023", "basis": "the first rules"}
    set_policy(
        agency=agency,
        effective_on=date(2015, 1, 1),
        now=datetime(2015, 1, 1, tzinfo=UTC),
        **rules | policy,
    )
    return agency


def ids(lines):
    return [line.sign_id for line in lines]


def test_every_sign_is_under_a_method_or_listed_under_none():
    agency = old_agency()
    group = begin(agency)
    under, none, theirs = (
        make_sign(agency),
        make_sign(agency),
        make_sign(agency, responsible="state"),
    )
    put_under(group, under)
    found = record(agency)
    assert ids(found.groups[0].covered.lines) == [under.pk]
    assert ids(found.under_none) == [none.pk]
    assert (found.sign_count, found.others_count, found.covered_count) == (3, 1, 1)
    assert theirs.pk not in ids(found.under_none)


def test_whether_a_method_is_applied_is_a_share_and_a_list_of_what_is_overdue():
    agency = old_agency()
    group = begin(agency)
    fresh, stale, wet = (make_sign(agency) for _ in range(3))
    put_under(group, fresh, stale, wet)
    read(fresh)
    read(stale, at=datetime(2023, 5, 20, tzinfo=UTC))
    read(wet, surface_state="dew")
    found = record(agency).groups[0]
    # Readings with dew on the face are not judged, so they do not keep the calendar either.
    assert found.applied == "1 of 3 in time (33.3 %), 2 overdue"
    assert [entry.sign_id for entry in found.covered.calendar.overdue] == [wet.pk, stale.pk]
    assert found.next_step == "measure 2 overdue signs"


@pytest.mark.parametrize("known", ["then", "now"])
def test_what_was_read_on_a_duplicate_keeps_the_calendar_of_the_sign_kept(known):
    agency = old_agency()
    group = begin(agency)
    kept, duplicate = make_sign(agency), make_sign(agency)
    put_under(group, kept)
    read(duplicate)
    observed = ObservationInput("bent", 2)
    record_inspection(
        sign=duplicate, taken_at=NOON, how="visual_day", observations=[observed], now=NOON
    )
    merge = merge_signs(kept=kept, duplicate=duplicate, reason="one face", now=NOON)
    found = record(agency, known=known)
    assert found.groups[0].applied == "1 of 1 in time (100.0 %)"
    assert seen_on(as_known(agency, DAY, known, today=NOW.date())).keys() == {kept.pk}
    # Undone a week later: as known then it still counts, as known now it does not.
    undo_sign_merge(merge=merge, reason="two faces", now=NOON + timedelta(days=7))
    in_time = record(agency, known=known).groups[0].applied.startswith("1 of 1")
    assert in_time == (known == "then")


def test_a_rating_by_night_keeps_the_visual_calendar_and_asks_for_a_decision():
    agency = old_agency()
    group = begin(agency, "visual_night")
    good, bad = make_sign(agency), make_sign(agency)
    put_under(group, good, bad)
    for sign, is_adequate in ((good, True), (bad, False)):
        read(
            sign,
            {},
            how="visual_night",
            visual_rating=make_rating(is_adequate=is_adequate),
        )
    found = record(agency)
    assert found.groups[0].applied == "2 of 2 in time (100.0 %)"
    assert found.groups[0].seen_words == "1 not adequate by night"
    (finding,) = found.without_decision
    assert finding.line.sign_id == bad.pk
    assert finding.what == ["not adequate by night (consistent parameters), rated 2026-05-20"]


def test_signs_without_a_decision_are_listed_oldest_first_and_decided_ones_are_not():
    agency = old_agency()
    newest, oldest, decided, damaged = (make_sign(agency) for _ in range(4))
    read(newest, DIM)
    read(oldest, DIM, at=NOON - timedelta(days=40))
    read(decided, DIM, at=NOON - timedelta(days=50))
    read(damaged, {}, at=NOON - timedelta(days=9), observations=[ObservationInput("bent", 2)])
    decide_disposition(sign=decided, decision="replace", by=None, now=NOON)
    for known in ("then", "now"):
        found = record(agency, known=known)
        assert ids(each.line for each in found.without_decision) == [
            oldest.pk,
            damaged.pk,
            newest.pk,
        ]
        assert ids(each.line for each in found.decided) == [decided.pk]
        assert found.decided[0].decision == "replace, decided 2026-05-20"
        assert found.without_decision[0].why_none == "nothing decided"
        assert "red 3 is below 7" in found.without_decision[0].what[0].lower()


def test_a_deferral_that_has_passed_and_a_second_look_that_was_had_are_decisions_no_more():
    agency = old_agency()
    waited, again = make_sign(agency), make_sign(agency)
    for sign in (waited, again):
        read(sign, DIM, at=NOON - timedelta(days=30))
    decide_disposition(
        sign=waited,
        decision="defer",
        by=None,
        reason="road closed",
        defer_until_on=date(2026, 5, 15),
        now=NOON - timedelta(days=20),
    )
    decide_disposition(sign=again, decision="reread", by=None, now=NOON - timedelta(days=20))
    assert ids(e.line for e in record(agency, on=date(2026, 5, 10)).decided) == [
        waited.pk,
        again.pk,
    ]
    read(again, DIM)
    reasons = {e.line.sign_id: e.why_none for e in record(agency).without_decision}
    assert reasons == {
        waited.pk: "deferred until 2026-05-15, which has passed",
        again.pk: "looked at again since it was decided to",
    }


def test_what_was_recorded_later_counts_only_as_known_now():
    agency = old_agency()
    sign = make_sign(agency)
    read(sign, BRIGHT, at=NOON - timedelta(days=10))
    # Read on the day, but it reached the office five days later.
    read(sign, DIM, at=NOON, recorded=NOON + timedelta(days=5))
    assert record(agency, known="then").verdicts == {"meets": 1}
    assert record(agency, known="now").verdicts == {"below": 1}
    assert record(agency, on=date(2026, 5, 19), known="now").verdicts == {"meets": 1}


def test_readings_put_right_later_show_as_they_were_then_and_as_they_are_now():
    agency = old_agency()
    sign = make_sign(agency)
    wrong = read(sign, DIM)
    read(sign, BRIGHT, corrects=wrong, recorded=NOON + timedelta(days=3))
    assert record(agency, known="then").verdicts == {"below": 1}
    assert len(record(agency, known="then").findings) == 1
    assert record(agency, known="now").verdicts == {"meets": 1}
    assert record(agency, known="now").findings == []


def test_damage_recorded_later_or_taken_back_later_counts_only_as_known_now():
    agency = old_agency()
    sign = make_sign(agency)
    bent = {"observations": [ObservationInput("bent", 3)]}
    seen = read(sign, {}, recorded=NOON + timedelta(days=1), **bent)
    assert record(agency, known="then").findings == []
    assert len(record(agency, known="now").findings) == 1
    slight = [ObservationInput("bent", 1)]
    read(sign, {}, corrects=seen, recorded=NOON + timedelta(days=2), observations=slight)
    assert record(agency, known="now").findings == []


def test_a_sign_put_under_a_method_later_for_an_earlier_day_counts_only_as_known_now():
    agency = old_agency()
    first, second = begin(agency), begin(agency, "visual_night")
    sign = make_sign(agency)
    put_under(first, sign)
    put_under(second, sign, from_on=date(2026, 5, 1), now=NOON + timedelta(days=2))
    by_name = {g.group.name: g.sign_count for g in record(agency, known="then").groups}
    assert by_name == {"measured": 1, "visual_night": 0}
    by_name = {g.group.name: g.sign_count for g in record(agency, known="now").groups}
    assert by_name == {"measured": 0, "visual_night": 1}


def test_rules_recorded_later_for_an_earlier_day_judge_only_as_known_now():
    agency = old_agency()
    rules: dict[str, Any] = {
        "edition": "2009",
        "basis": "put right",
        "effective_on": date(2026, 1, 1),
    }
    set_policy(agency=agency, now=NOON + timedelta(days=4), **rules)
    assert record(agency, known="then").edition_words.startswith("the 11th edition")
    found = record(agency, known="now")
    assert found.edition_words.startswith("the 2009 edition")
    assert found.policy is not None
    assert found.policy.basis == "put right"


def test_a_face_whose_coming_down_was_recorded_later_still_stood_as_known_then():
    agency = old_agency()
    old = make_sign(agency)
    read(old, DIM, at=NOON - timedelta(days=3))
    decide_disposition(sign=old, decision="replace", by=None, now=NOON - timedelta(days=2))
    new = make_sign(agency, position=make_position(agency), state="installed")
    type(new).objects.filter(pk=new.pk).update(
        state="in_stock", position=None, installed_on=None
    )
    new.refresh_from_db()
    install_sign(
        sign=new,
        position=position_of(old),
        installed_on=date(2026, 5, 19),
        removal_reason="below_level",
        replaces=old,
        now=NOON + timedelta(days=2),
    )
    then, now = record(agency, known="then"), record(agency, known="now")
    assert ids(then.under_none) == [old.pk]
    assert then.taken_down == []
    assert ids(now.under_none) == [new.pk]
    (gone,) = now.taken_down
    assert gone.words == "taken down 2026-05-19 (below its level)"
    assert gone.replaced_on == date(2026, 5, 19)
    # The day before, what was done since is told beside the finding.
    before = record(agency, on=date(2026, 5, 18), known="now")
    assert before.decided[0].since_then == ["taken down 2026-05-19 (below its level)"]


def test_control_signs_too_few_and_a_control_sign_that_fails_are_named():
    agency = old_agency()
    group = begin(agency, "control_signs")
    control, stands_for = make_sign(agency), make_sign(agency)
    put_under(group, control, stands_for)
    set_control_signs(
        group=group,
        positions=[position_of(control)],
        from_on=START,
        now=datetime(2020, 1, 3, tzinfo=UTC),
    )
    read(control, DIM)
    found = record(agency).groups[0]
    assert found.applied == "2 of 2 in time (100.0 %)"
    assert found.warnings[0].startswith("Type IX prismatic: 1 control sign for 2 signs")
    assert "every sign it stands for is to be replaced" in found.warnings[1]


@pytest.mark.parametrize("known", ["then", "now"])
def test_control_signs_bound_what_the_signs_they_stand_for_read(known):
    agency = old_agency()
    group = begin(agency, "control_signs")
    controls = [make_sign(agency) for _ in range(3)]
    put_under(group, *controls, make_sign(agency))
    set_control_signs(
        group=group,
        positions=[position_of(each) for each in controls],
        from_on=START,
        now=datetime(2020, 1, 3, tzinfo=UTC),
    )
    for sign, white in zip(controls, ("400", "404", "408"), strict=True):
        read(sign, {"white": white, "red": "90"})
    found = record(agency, known=known).groups[0]
    # One-sided factor for n = 3, 90 % content, 95 % confidence: 6.155 (tables after Owen 1963,
    # from memory); mean 404, s = 4: 404 - 6.155 * 4 = 379.4.
    assert (
        "Type IX prismatic, white: 3 control signs read 404.0 cd/lx/m² on average; with 95 % "
        "confidence nine in ten of the signs they stand for read 379.4 or more, if they were "
        "chosen at random."
    ) in found.warnings


def test_a_round_of_replacement_on_record_sets_the_blanket_calendar():
    agency = old_agency()
    group = begin(agency, "blanket")
    put_under(group, make_sign(agency, installed_on=date(2025, 5, 1)))
    fields: dict[str, Any] = {"kind": "replacement_round", "now": NOW}
    record_step(group=group, done_on=date(2025, 5, 20), text="Mill Road", **fields)
    assert record(agency).groups[0].next_step == "replace the next ones by 2027-05-20"
    # Recorded on NOW: on the day itself nobody knew of it.
    assert "No round" in record(agency, known="then").groups[0].warnings[0]


def test_signs_left_out_name_their_clause_and_the_edition():
    agency = old_agency(excluded_groups=["parking-standing-stopping"])
    group = begin(agency, "excluded", exclusion_key="parking-standing-stopping")
    put_under(group, make_sign(agency, sign_code="R7-1"))
    found = record(agency).groups[0]
    assert found.clause == (
        "Parking, standing and stopping signs (11th-2023 edition, section 2A.22 paragraph 5)"
    )
    assert found.applied == "left out: nothing is to be done"


def test_rows_that_were_not_compared_with_their_source_are_named():
    # A row counts as unverified when its figure, or what chose it, was not compared.
    agency = old_agency(edition="2009", uses_recommended_levels=True)
    blue = make_sign(
        agency, sign_code="D9-2", colours=(("background", "blue"), ("legend", "white"))
    )
    read(blue, {"blue": "20", "white": "200"})
    then, now = record(agency, known="then"), record(agency, known="now")
    assert then.unverified == now.unverified
    assert sum(row.count for row in then.unverified) > 0


def test_a_day_to_come_and_an_unknown_way_of_knowing_are_refused():
    agency = make_agency()
    with pytest.raises(OutOfRangeError, match="still to come"):
        record(agency, on=date(2027, 1, 1))
    with pytest.raises(OutOfRangeError, match="no way to show a day"):
        record(agency, known="later")


def test_an_agency_without_rules_has_a_record_that_says_so():
    agency = make_agency()
    make_sign(agency)
    found = record(agency, on=date(1999, 1, 1), known="then")
    assert (found.policy, found.edition_words) == (None, "no rules in force")


def test_then_and_now_agree_where_nothing_was_recorded_late():
    agency = old_agency()
    group = begin(agency)
    signs = [make_sign(agency) for _ in range(6)]
    put_under(group, *signs)
    for n, sign in enumerate(signs):
        read(sign, DIM if n % 2 else BRIGHT, at=NOON - timedelta(days=n))
    then, now = record(agency, known="then"), record(agency, known="now")
    assert then.verdicts == now.verdicts == {"below": 3, "meets": 3}
    assert [f.line for f in then.findings] == [f.line for f in now.findings]
    assert [f.what for f in then.findings] == [f.what for f in now.findings]
    assert [f.found_at for f in then.findings] == [f.found_at for f in now.findings]


def queries_for(agency, known):
    with CaptureQueriesContext(
        connection,
    ) as caught:
        record(agency, known=known)
    return len(caught)


@pytest.mark.parametrize("known", ["then", "now"])
def test_more_signs_do_not_take_more_questions(known):
    agency = old_agency()
    group = begin(agency)
    signs = [make_sign(agency) for _ in range(3)]
    put_under(group, *signs)
    for sign in signs:
        read(sign, DIM)
    few = queries_for(agency, known)
    more = [make_sign(agency) for _ in range(20)]
    put_under(group, *more)
    for sign in more:
        read(sign, DIM)
    assert queries_for(agency, known) == few
    assert few <= 26


def test_todays_groups_go_by_the_standing_of_their_signs(django_assert_max_num_queries):
    agency = make_agency()
    group = begin(agency)
    signs = [make_sign(agency) for _ in range(5)]
    put_under(group, *signs)
    for sign in signs:
        read(sign, DIM, at=NOW - timedelta(hours=2), recorded=NOW)
    with django_assert_max_num_queries(14):
        (found,), _covered = groups_today(organisation=agency, now=NOW)
    assert found.verdict_words == "5 below"
    assert found.next_step == "measure the next ones by 2028-06-01"
    assert found.covered.last_round_on is None


def test_assessments_stored_anew_do_not_change_what_was_known_then():
    agency = old_agency()
    sign = make_sign(agency)
    read(sign, BRIGHT)
    assess_sign(sign=sign, now=NOON)
    assess_signs(organisation=agency, now=NOW)
    assert record(agency, known="then").verdicts == {"meets": 1}

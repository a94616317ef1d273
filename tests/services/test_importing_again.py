"""The next file of a list: only what changed in it is taken, and crews are not overruled."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    ColourArea,
    ImportMissing,
    ImportRun,
    ImportSettlement,
    Inspection,
    LogbookEntry,
    Panel,
    Position,
    Sign,
    SourceRecord,
    Standing,
    Support,
)
from inventory.services.importing import settle
from inventory.services.inspection import record_inspection
from inventory.services.installation import install_sign, remove_sign
from inventory.services.standards import add_code_alias
from inventory.services.support_moves import move_support
from inventory.services.wrong_data import flag_wrong_data, settle_wrong_data
from tests.factories import NOW, make_agency, make_person, make_shop
from tests.services.lists import numbers, row, take

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
KEEP, TAKE = ImportSettlement.Outcome.KEEP_OURS, ImportSettlement.Outcome.TAKE_SOURCE


def taken(**fields: Any):
    """Return an agency that has taken in one row, and the face it became."""
    agency = make_agency()
    take(agency, [row("1", **fields)])
    return agency, Sign.objects.owned_by(agency).order_by("pk").first()


def new_face(agency, **fields: Any) -> Sign:
    return Sign.objects.create(
        **{
            "maker": make_shop(agency=agency),
            "owner": agency,
            "state": "in_stock",
            "sign_code": "R1-1",
            "width_in": 30.0,
            "height_in": 30.0,
        }
        | fields
    )


def visit(sign: Sign, at=NOW + DAY) -> Inspection:
    return record_inspection(sign=sign, taken_at=at, how="visual_day", note="Seen.", now=at)


# What is taken -------------------------------------------------------------------------------


def test_the_same_file_changes_nothing():
    agency, sign = taken()
    report = take(agency, [row("1")], now=NOW + DAY)
    assert numbers(report) == (0, 0, 1, 0)
    assert report.verdicts is None
    assert SourceRecord.objects.get().changed_at == NOW
    assert SourceRecord.objects.get().last_run == ImportRun.objects.latest("pk")
    assert list(Sign.objects.all()) == [sign]


def test_only_the_fields_that_changed_are_written():
    agency, sign = taken(MOUNT="post")
    # Somebody corrected another field here; the list does not know, and did not change it.
    Position.objects.update(mounting_height_in=99.0)
    Sign.objects.update(planned_replacement_year=2030)
    report = take(agency, [row("1", MOUNT="overhead", FACING=180.0)], now=NOW + DAY)
    assert numbers(report) == (0, 1, 0, 0)
    position = Position.objects.get()
    assert (position.mount, position.facing_deg) == ("overhead", 180.0)
    assert position.mounting_height_in == 99.0
    sign.refresh_from_db()
    assert sign.planned_replacement_year == 2030
    assert SourceRecord.objects.get().changed_at == NOW + DAY


def test_a_value_that_becomes_unknown_in_the_list_becomes_unknown_here():
    agency, sign = taken()
    take(agency, [row("1", FACING=None, SHEETING=None, INSTALLED=None)], now=NOW + DAY)
    sign.refresh_from_db()
    assert sign.position.facing_deg is None
    assert sign.installed_on is None
    assert set(sign.colour_areas.values_list("sheeting_type", "optics")) == {("", "unknown")}


def test_a_column_that_is_no_longer_mapped_changes_nothing():
    agency, sign = taken()
    report = take(agency, [row("1", FACING="unmapped")], now=NOW + DAY)
    assert numbers(report) == (0, 0, 1, 0)
    assert report.changed_beside_the_mapping == 1
    sign.refresh_from_db()
    assert sign.position.facing_deg == 90.0


def test_a_change_beside_the_mapping_is_kept_with_the_row_and_counts_as_unchanged():
    agency, _sign = taken()
    report = take(agency, [row("1", raw={"remark": "new"})], now=NOW + DAY)
    assert numbers(report) == (0, 0, 1, 0)
    assert report.changed_beside_the_mapping == 1
    assert SourceRecord.objects.get().raw["remark"] == "new"


def test_colours_and_sheeting_are_written_anew_and_judged_again():
    agency, sign = taken()
    report = take(agency, [row("1", CODE="W1-1", SHEETING=["XI", "prismatic"])], now=NOW + DAY)
    assert numbers(report) == (0, 1, 0, 0)
    assert list(sign.colour_areas.values_list("number", "color", "sheeting_type")) == [
        (1, "yellow", "XI"),
        (2, "black", "XI"),
    ]
    assert report.verdicts is not None
    assert report.verdicts.signs == 1
    assert Standing.objects.get(sign=sign).sign_code == "W1-1"


def test_what_a_crew_said_is_wrong_is_put_right_by_the_list():
    agency, sign = taken(FACING=90.0)
    flag = flag_wrong_data(sign=sign, field="facing", said="it faces south", now=NOW + DAY)
    settle_wrong_data(flag=flag, reason="put right in the list", now=NOW + DAY)
    report = take(agency, [row("1", FACING=180.0)], now=NOW + 2 * DAY)
    assert numbers(report) == (0, 1, 0, 0)
    sign.position.refresh_from_db()
    assert sign.position.facing_deg == 180.0


def test_a_support_a_crew_moved_stays_where_it_was_put_until_it_is_settled():
    agency, sign = taken()
    support = sign.position.support
    move_support(support=support, latitude_deg=43.002, longitude_deg=-89.5, now=NOW + DAY)
    take(agency, [row("1", POINT=[43.01, -89.5])], now=NOW + 2 * DAY)
    assert ImportSettlement.objects.get().outcome == "open"
    assert Support.objects.get().latitude_deg == 43.002


def test_an_alias_given_later_is_taken_with_the_same_file():
    agency, sign = taken(CODE="HALT")
    visit(sign)
    add_code_alias(organisation=agency, alias="HALT", code="R1-1", now=NOW + DAY)
    report = take(agency, [row("1", CODE="HALT")], now=NOW + 2 * DAY)
    # The crew's word is not older: the row's own text is as it was.
    assert numbers(report) == (0, 1, 0, 0)
    sign.refresh_from_db()
    assert sign.sign_code == "R1-1"


def test_a_second_face_can_be_added_by_the_list():
    agency, sign = taken(CODE="D3-1", SIZES=[[30.0, 6.0]])
    report = take(
        agency, [row("1", CODE="D3-1", SIZES=[[36.0, 6.0], [36.0, 6.0]])], now=NOW + DAY
    )
    assert numbers(report) == (0, 1, 0, 0)
    assert report.faces_made == 1
    front, back = Position.objects.order_by("pk")
    assert (front.width_in, back.width_in) == (36.0, 36.0)
    assert back.facing_deg == 270.0
    sign.refresh_from_db()
    assert sign.width_in == 36.0
    assert SourceRecord.objects.get().faces.count() == 2


def test_the_size_of_a_shared_panel_follows_its_faces():
    agency, _sign = taken(SIZES=[[30.0, 6.0], [30.0, 6.0]])
    take(agency, [row("1", SIZES=[[36.0, 9.0], [36.0, 9.0]])], now=NOW + DAY)
    panel = Panel.objects.get()
    assert (panel.width_in, panel.height_in) == (36.0, 9.0)
    assert set(Sign.objects.values_list("width_in", "height_in")) == {(36.0, 9.0)}


def test_a_sign_the_list_removes_comes_off_the_due_list_and_back():
    agency, sign = taken(STATUS="installed")
    gone = row("1", STATUS="removed", REMOVED=["2026-05-03", "day"])
    assert numbers(take(agency, [gone], now=NOW + DAY)) == (0, 1, 0, 0)
    sign.refresh_from_db()
    assert (sign.state, sign.removed_on) == ("removed", date(2026, 5, 3))
    assert not Standing.objects.exists()
    back = take(agency, [row("1", STATUS="installed")], now=NOW + 2 * DAY)
    assert numbers(back) == (0, 1, 0, 0)
    sign.refresh_from_db()
    assert (sign.state, sign.removed_on, sign.removal_reason) == ("installed", None, "")


def test_a_later_judgement_is_a_further_inspection():
    agency, sign = taken(CONDITION=["2024-07-01", "general", 0, "Good"])
    report = take(
        agency, [row("1", CONDITION=["2026-05-01", "faded", 2, "Fair"])], now=NOW + DAY
    )
    assert numbers(report) == (0, 1, 0, 0)
    assert sign.inspections.count() == 2
    # A judgement that disappears from the list was made all the same.
    assert numbers(take(agency, [row("1", CONDITION=None)], now=NOW + 2 * DAY)) == (0, 0, 1, 0)
    assert sign.inspections.count() == 2


def test_rows_missing_from_a_later_file_are_listed_and_stay():
    agency = make_agency()
    take(agency, [row("1"), row("2")])
    report = take(agency, [row("2")], now=NOW + DAY)
    assert numbers(report) == (0, 0, 1, 0)
    assert report.missing == ["1"]
    assert ImportMissing.objects.get().record.external_id == "1"
    assert Sign.objects.filter(state="installed").count() == 2
    # A row that is there but refused is not missing.
    report = take(agency, [row("1", refusal="Wrong."), row("2")], now=NOW + 2 * DAY)
    assert report.missing == []


def test_two_lists_of_one_agency_do_not_mix():
    agency = make_agency()
    take(agency, [row("1")])
    report = take(agency, [row("1")], name="other signs")
    assert numbers(report) == (1, 0, 0, 0)
    assert report.missing == []


# Supports ------------------------------------------------------------------------------------


def test_a_support_moves_with_all_its_rows():
    agency = make_agency()
    take(agency, [row("1"), row("2")])
    place = [43.01, -89.5]
    report = take(agency, [row("1", POINT=place), row("2", POINT=place)], now=NOW + DAY)
    assert numbers(report) == (0, 2, 0, 0)
    support = Support.objects.get()
    assert support.latitude_deg == 43.01
    assert Standing.objects.filter(cell=support.cell).count() == 2


def test_one_row_that_moves_away_leaves_the_support_where_points_are_trusted():
    agency = make_agency()
    take(agency, [row("1"), row("2")], is_key_trusted=False)
    moved = [row("1", POINT=[43.01, -89.5]), row("2")]
    report = take(agency, moved, is_key_trusted=False, now=NOW + DAY)
    assert numbers(report) == (0, 1, 1, 0)
    assert {s.external_key: s.latitude_deg for s in Support.objects.all()} == {
        "P1": 43.0,
        "P1 (2)": 43.01,
    }


def test_a_row_with_another_key_moves_to_that_support():
    agency = make_agency()
    take(agency, [row("1"), row("2", SUPPORT_KEY="P2", POINT=[43.01, -89.5])])
    second = row("1", SUPPORT_KEY="P2", POINT=[43.01, -89.5])
    report = take(
        agency, [second, row("2", SUPPORT_KEY="P2", POINT=[43.01, -89.5])], now=NOW + DAY
    )
    assert numbers(report) == (0, 1, 1, 0)
    assert report.supports_made == 0
    assert Support.objects.get(external_key="P2").positions.count() == 2


def test_a_moved_row_without_a_key():
    agency = make_agency()
    alone: dict[str, Any] = {"SUPPORT_KEY": None}
    take(agency, [row("1", **alone), row("2", **alone)], grouping_m=2.0)
    assert Support.objects.count() == 1
    near = [43.00001, -89.5]  # 1.1 m
    report = take(
        agency,
        [row("1", POINT=near, **alone), row("2", **alone)],
        grouping_m=2.0,
        now=NOW + DAY,
    )
    assert numbers(report) == (0, 1, 1, 0)
    assert Support.objects.count() == 1
    far = [43.001, -89.5]
    take(
        agency,
        [row("1", POINT=far, **alone), row("2", **alone)],
        grouping_m=2.0,
        now=NOW + 2 * DAY,
    )
    assert sorted(Support.objects.values_list("latitude_deg", flat=True)) == [43.0, 43.001]


# What waits ----------------------------------------------------------------------------------


def waiting(report) -> str:
    assert numbers(report) == (0, 0, 1, 0)
    [only] = report.waiting
    stored = ImportSettlement.objects.get(outcome="open")
    assert stored.reason == only.reason
    return str(only.reason)


def test_a_change_older_than_a_crews_record_waits_with_both_values():
    agency, sign = taken()
    visit(sign)
    report = take(agency, [row("1", FACING=180.0)], now=NOW + 2 * DAY)
    assert "an inspection of 2026-06-02" in waiting(report)
    change = ImportSettlement.objects.get().changes["facing"]
    assert change == {"ours": 90.0, "source": 180.0, "before": 90.0}
    assert Position.objects.get().facing_deg == 90.0
    # The same file again: still one row, still waiting.
    again = take(agency, [row("1", FACING=180.0)], now=NOW + 3 * DAY)
    waiting(again)
    # A newer word of the list replaces the one that waits.
    take(agency, [row("1", FACING=270.0)], now=NOW + 4 * DAY)
    assert ImportSettlement.objects.get().changes["facing"]["source"] == 270.0


def test_a_dry_run_lists_what_would_wait_and_stores_nothing():
    agency, sign = taken()
    visit(sign)
    report = take(agency, [row("1", FACING=180.0)], dry_run=True, now=NOW + 2 * DAY)
    assert len(report.waiting) == 1
    assert not ImportSettlement.objects.exists()


def test_a_crews_record_before_the_last_file_is_no_obstacle():
    agency, sign = taken()
    visit(sign)
    take(agency, [row("1")], now=NOW + 2 * DAY)
    # The old value was still in the list after the visit: the change is the newer word.
    report = take(agency, [row("1", FACING=180.0)], now=NOW + 3 * DAY)
    assert numbers(report) == (0, 1, 0, 0)


def test_a_row_that_says_when_it_changed_is_compared_by_its_day():
    agency, sign = taken()
    visit(sign, at=NOW + 2 * DAY)
    older = row("1", FACING=180.0, changed_on=date(2026, 6, 2))
    waiting(take(agency, [older], now=NOW + 4 * DAY))
    agency, sign = taken()
    visit(sign, at=NOW + 2 * DAY)
    newer = row("1", FACING=180.0, changed_on=date(2026, 6, 4))
    assert numbers(take(agency, [newer], now=NOW + 4 * DAY)) == (0, 1, 0, 0)


def test_a_face_that_was_replaced_here_is_not_made_the_old_one_again():
    agency, sign = taken()
    install_sign(
        sign=new_face(agency),
        position=sign.position,
        installed_on=date(2026, 6, 1),
        removal_reason="aged",
        now=NOW,
    )
    take(agency, [row("1")], now=NOW + DAY)
    report = take(agency, [row("1", SIZES=[[36.0, 36.0]])], now=NOW + 2 * DAY)
    assert "Another face stands there now, installed 2026-06-01" in waiting(report)
    # What the list says of the place, not of the face, is taken, and nothing waits any more.
    moved = take(agency, [row("1", MOUNT="post")], now=NOW + 3 * DAY)
    assert numbers(moved) == (0, 1, 0, 0)
    assert ImportSettlement.objects.get().outcome == KEEP


def test_a_face_that_was_taken_down_here_stays_down():
    agency, sign = taken()
    remove_sign(sign=sign, removed_on=date(2026, 6, 1), reason="knocked_down", now=NOW)
    take(agency, [row("1")], now=NOW + DAY)
    report = take(agency, [row("1", FACING=180.0)], now=NOW + 2 * DAY)
    assert "taken down here on 2026-06-01" in waiting(report)
    with pytest.raises(StateConflictError, match="Install one first, or keep ours"):
        settle(settlement=ImportSettlement.objects.get(), outcome=TAKE, now=NOW + 3 * DAY)
    assert ImportSettlement.objects.get().outcome == "open"


def test_a_value_changed_here_is_not_overwritten():
    agency, _sign = taken()
    Position.objects.update(facing_deg=45.0)
    report = take(agency, [row("1", FACING=180.0)], now=NOW + DAY)
    assert waiting(report) == "Changed here since: facing."


def test_a_list_that_says_what_is_already_recorded_has_caught_up():
    agency, _sign = taken()
    Position.objects.update(facing_deg=45.0)
    report = take(agency, [row("1", FACING=45.0)], now=NOW + DAY)
    assert numbers(report) == (0, 0, 1, 0)
    assert report.caught_up == 1
    assert not ImportSettlement.objects.exists()
    # From here on the list is followed again.
    assert numbers(take(agency, [row("1", FACING=50.0)], now=NOW + 2 * DAY)) == (0, 1, 0, 0)


def test_a_newly_mapped_column_fills_what_is_unknown_and_asks_where_it_is_known():
    agency, _sign = taken()
    assert numbers(take(agency, [row("1", MOUNT="post")], now=NOW + DAY)) == (0, 1, 0, 0)
    agency, _sign = taken()
    Position.objects.owned_by(agency).update(mount="overhead")
    report = take(agency, [row("1", MOUNT="post")], now=NOW + DAY)
    assert report.waiting[0].reason == "Already recorded here otherwise: mount."


def test_fewer_faces_wait_for_a_person():
    agency, _sign = taken(SIZES=[[30.0, 6.0], [30.0, 6.0]])
    report = take(agency, [row("1", SIZES=[[30.0, 6.0]])], now=NOW + DAY)
    assert "had 2 faces and now has 1" in waiting(report)
    with pytest.raises(StateConflictError, match="take the one that is gone down first"):
        settle(settlement=ImportSettlement.objects.get(), outcome=TAKE, now=NOW)


def test_a_date_of_ours_in_the_way_waits():
    agency, _sign = taken()
    Sign.objects.update(fabricated_on=date(2015, 1, 1))
    report = take(agency, [row("1", INSTALLED=["2014-06-02", "day"])], now=NOW + DAY)
    assert "cannot be made on 2015-01-01 and installed on 2014-06-02" in waiting(report)


def test_a_support_moved_here_is_not_moved_back():
    agency, _sign = taken()
    Support.objects.update(latitude_deg=43.5)
    report = take(agency, [row("1", POINT=[43.001, -89.5])], now=NOW + DAY)
    assert waiting(report) == "The support has been moved here since."


def test_what_no_longer_differs_no_longer_waits():
    agency, sign = taken()
    visit(sign)
    take(agency, [row("1", FACING=180.0)], now=NOW + 2 * DAY)
    report = take(agency, [row("1")], now=NOW + 3 * DAY)
    assert report.waiting == []
    closed = ImportSettlement.objects.get()
    assert closed.outcome == KEEP
    assert "no longer says otherwise" in closed.reason


# Settling ------------------------------------------------------------------------------------


def unsettled(**fields: Any):
    agency, sign = taken()
    visit(sign)
    take(agency, [row("1", **fields)], now=NOW + 2 * DAY)
    return agency, sign, ImportSettlement.objects.get()


def test_keeping_ours_is_remembered():
    agency, sign, open_row = unsettled(FACING=180.0)
    person = make_person(agency)
    settled = settle(settlement=open_row, outcome=KEEP, by=person, now=NOW + 3 * DAY)
    assert (settled.outcome, settled.settled_by) == (KEEP, person)
    assert Position.objects.get().facing_deg == 90.0
    report = take(agency, [row("1", FACING=180.0)], now=NOW + 4 * DAY)
    assert numbers(report) == (0, 0, 1, 0)
    assert report.waiting == []
    entry = LogbookEntry.objects.get(verb="settle import")
    assert entry.actor == person
    assert entry.detail["changes"]["facing"]["ours"] == sign.position.facing_deg


def test_taking_the_source_writes_it_and_judges_again():
    agency, sign, open_row = unsettled(FACING=180.0, CODE="W1-1", SHEETING=["XI", "prismatic"])
    settle(settlement=open_row, outcome=TAKE, now=NOW + 3 * DAY)
    sign.refresh_from_db()
    assert sign.position.facing_deg == 180.0
    assert sign.sign_code == sign.position.sign_code == "W1-1"
    assert Standing.objects.get(sign=sign).sign_code == "W1-1"
    again = row("1", FACING=180.0, CODE="W1-1", SHEETING=["XI", "prismatic"])
    assert numbers(take(agency, [again], now=NOW + 4 * DAY)) == (0, 0, 1, 0)


def test_a_row_is_settled_once_and_by_a_known_word():
    _agency, _sign, open_row = unsettled(FACING=180.0)
    with pytest.raises(OutOfRangeError, match="keep_ours, take_source"):
        settle(settlement=open_row, outcome="later")
    settle(settlement=open_row, outcome=KEEP, now=NOW)
    with pytest.raises(StateConflictError, match="settled on 2026-06-01"):
        settle(settlement=open_row, outcome=TAKE)


def test_a_face_put_up_after_ours_was_inspected_follows_it_when_the_source_is_taken():
    agency, sign = taken(INSTALLED=["2014-05-01", "day"])
    visit(sign)
    later = NOW + 30 * DAY
    take(agency, [row("1", INSTALLED=["2014-05-01", "day"])], now=NOW + 2 * DAY)
    new = row("1", INSTALLED=["2026-06-20", "day"], SHEETING=["XI", "prismatic"])
    report = take(agency, [new], now=later)
    assert "a new face, or a correction?" in waiting(report)
    settle(settlement=ImportSettlement.objects.get(), outcome=TAKE, now=later)
    sign.refresh_from_db()
    assert (sign.state, sign.removed_on) == ("removed", date(2026, 6, 20))
    # The inspected face keeps what it was.
    assert set(sign.colour_areas.values_list("sheeting_type", flat=True)) == {"IV"}
    assert sign.inspections.count() == 1
    following = Sign.objects.get(position=sign.position, state="installed")
    assert following.installed_on == date(2026, 6, 20)
    assert set(following.colour_areas.values_list("sheeting_type", flat=True)) == {"XI"}
    assert following.inspections.count() == 0
    assert Standing.objects.get().sign == following
    assert numbers(take(agency, [new], now=later + DAY)) == (0, 0, 1, 0)


def test_a_place_can_be_taken_from_the_source():
    _agency, sign, open_row = unsettled(POINT=[43.01, -89.5], ROAD="Elm St")
    settle(settlement=open_row, outcome=TAKE, now=NOW + 3 * DAY)
    support = Position.objects.get(signs=sign).support
    assert (support.latitude_deg, str(support.road)) == (43.01, "Elm St")
    assert Standing.objects.get().cell == support.cell


def test_areas_of_several_sheetings_keep_theirs():
    agency, sign = taken()
    ColourArea.objects.filter(part="legend").update(sheeting_type="III")
    report = take(agency, [row("1", CODE="R1-2")], now=NOW + DAY)
    assert waiting(report) == "Changed here since: colours."
    settle(settlement=ImportSettlement.objects.get(), outcome=TAKE, now=NOW + 2 * DAY)
    kept = dict(sign.colour_areas.values_list("color", "sheeting_type"))
    assert kept == {"white": "III", "red": "IV"}


def test_a_row_can_be_put_on_another_support_by_its_source():
    agency, sign, open_row = unsettled(SUPPORT_KEY="P2", POINT=[43.01, -89.5])
    settle(settlement=open_row, outcome=TAKE, now=NOW + 3 * DAY)
    sign.refresh_from_db()
    support = Position.objects.get(signs=sign).support
    assert (support.external_key, support.latitude_deg) == ("P2", 43.01)
    again = row("1", SUPPORT_KEY="P2", POINT=[43.01, -89.5])
    assert numbers(take(agency, [again], now=NOW + 4 * DAY)) == (0, 0, 1, 0)


def test_what_a_support_of_one_row_is_can_be_changed_here():
    agency, _sign = taken(SUPPORT_TYPE="wood")
    Support.objects.update(support_type="u_channel")
    report = take(agency, [row("1", SUPPORT_TYPE="i_beam")], now=NOW + DAY)
    assert waiting(report) == "Changed here since: support type."


def test_a_removal_before_the_installation_we_know_waits():
    agency, _sign = taken(STATUS="removed", INSTALLED="unmapped")
    Sign.objects.update(installed_on=date(2020, 1, 1))
    gone = row("1", STATUS="removed", REMOVED=["2019-05-01", "day"], INSTALLED="unmapped")
    report = take(agency, [gone], now=NOW + DAY)
    assert "cannot be installed on 2020-01-01 and removed on 2019-05-01" in waiting(report)


def test_a_dry_run_counts_the_faces_that_would_be_added():
    agency, _sign = taken(SIZES=[[30.0, 6.0]])
    two = row("1", SIZES=[[30.0, 6.0], [30.0, 6.0]])
    report = take(agency, [two], dry_run=True, now=NOW + DAY)
    assert numbers(report) == (0, 1, 0, 0)
    assert report.faces_made == 1

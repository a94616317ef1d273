"""Taking a list in: every row ends in one of four counts, and nothing of it is lost."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.engineering.places import distance_m
from inventory.engineering.standards.vocabulary import Color, Series
from inventory.errors import StateConflictError
from inventory.models import (
    Assessment,
    ColourArea,
    ImportRun,
    Inspection,
    LogbookEntry,
    Panel,
    Position,
    Road,
    Sign,
    SourceRecord,
    Standing,
    Support,
)
from inventory.services.importing import import_signs
from inventory.services.importing.planning import Outcome, Planner
from inventory.services.importing.resolving import Resolver
from inventory.services.importing.rows import Notebook
from inventory.services.importing.rows import SourceField as F
from inventory.services.importing.supports import SupportBook
from inventory.services.people import create_organisation
from inventory.services.standards import add_code_alias, add_sign_type, code_book
from tests.factories import NOW, make_agency, make_shop, make_support
from tests.services.lists import a_list, numbers, row, take

pytestmark = pytest.mark.django_db


def test_a_new_row_becomes_a_face_in_a_position_on_a_support():
    agency = make_agency()
    report = take(agency, [row("17", MOUNT="post", LEGEND="STOP", MOUNTING_HEIGHT=84.0)])
    assert numbers(report) == (1, 0, 0, 0)
    assert (report.supports_made, report.faces_made) == (1, 1)
    sign = Sign.objects.get()
    position = Position.objects.get()
    assert sign.position == position
    assert (position.sign_code, position.source_code, position.variant) == ("R1-1", "R1-1", "")
    assert (position.width_in, position.height_in, position.facing_deg) == (30.0, 30.0, 90.0)
    assert (position.mount, position.mounting_height_in) == ("post", 84.0)
    assert (position.support.external_key, position.support.latitude_deg) == ("P1", 43.0)
    assert (sign.owner, sign.state, sign.maker) == (agency, "installed", None)
    assert (sign.installed_on, sign.installed_precision) == (date(2014, 5, 1), "month")
    assert sign.fabricated_on is None
    assert sign.planned_replacement_year == 2026
    assert sign.is_reconstructed
    assert sign.panel is None
    areas = list(sign.colour_areas.values_list("part", "color", "sheeting_type", "optics"))
    # R1-1 is white on red: MUTCD 11th edition, 2B.04.
    assert areas == [
        ("background", "red", "IV", "prismatic"),
        ("legend", "white", "IV", "prismatic"),
    ]
    record = SourceRecord.objects.get()
    assert record.raw["id"] == "17"
    assert [face.position for face in record.faces.all()] == [position]


def test_a_dry_run_says_the_same_and_writes_nothing():
    agency = make_agency()
    rows = [row("1"), row("2", line=3, refusal="It is wrong."), row("3", line=4)]
    dry = take(agency, rows, dry_run=True)
    assert numbers(dry) == (2, 0, 0, 1)
    assert dry.run is None
    assert not Sign.objects.exists()
    assert not ImportRun.objects.exists()
    wet = take(agency, rows)
    assert numbers(wet) == numbers(dry)
    assert (wet.supports_made, wet.faces_made) == (dry.supports_made, dry.faces_made) == (1, 2)


def test_the_counts_and_the_refusals_are_kept_with_the_run():
    agency = make_agency()
    take(agency, [row("1"), row("2", line=3, refusal="It is wrong.", raw={"odd": "text"})])
    run = ImportRun.objects.get()
    assert (run.state, run.row_count, run.rows_done) == ("finished", 2, 2)
    assert (run.created_count, run.refused_count) == (1, 1)
    refusal = run.refusals.get()
    assert (refusal.line, refusal.reason, refusal.raw["odd"]) == (3, "It is wrong.", "text")
    entry = LogbookEntry.objects.get(verb="import signs")
    assert "of 2 rows 1 created, 0 updated, 0 unchanged, 1 refused" in entry.text


def test_the_faces_are_judged_and_stand_on_the_due_list():
    agency = make_agency()
    report = take(agency, [row("1"), row("2", SHEETING=None)])
    assert report.verdicts is not None
    assert report.verdicts.signs == 2
    assert Assessment.objects.count() == 2
    # The list's own year of replacement has come.
    assert report.due is not None
    assert report.due.due == 2
    assert Standing.objects.filter(is_due=True).count() == 2


def test_without_rules_the_list_is_taken_and_the_report_says_what_to_do():
    agency = create_organisation(name="Without rules", kind="agency")
    report = take(agency, [row("1")])
    assert numbers(report) == (1, 0, 0, 0)
    assert report.verdicts is None
    assert any("set_policy" in remark for remark in report.remarks)


def test_a_shop_has_no_list_of_signs():
    with pytest.raises(StateConflictError, match="sign shop"):
        take(make_shop(), [row("1")])


# Codes and colours ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "found", "variant"),
    [
        ("r1-1", "R1-1", ""),
        ("W1-2R", "W1-2", "R"),
        ("R3-7 (l)", "R3-7", "L"),
        ("R2-1 (25)", "R2-1", "25"),
        ("OM3-L", "OM3-L", ""),
        ("XX-9", "", ""),
        ("XX-9 (25)", "", ""),
        (None, "", ""),
    ],
)
def test_codes_are_looked_up_and_unknown_ones_kept_as_they_are(code, found, variant):
    agency = make_agency()
    report = take(agency, [row("1", CODE=code)])
    assert numbers(report) == (1, 0, 0, 0)
    position = Position.objects.get()
    assert (position.sign_code, position.variant) == (found, variant)
    assert position.source_code == (code or "")
    assert bool(report.notes) == (code is not None and code.startswith("XX-9"))
    assert Sign.objects.get().sign_code == found


def test_a_column_of_variants_comes_before_the_codes_own_letter():
    report = take(make_agency(), [row("1", CODE="W1-2R", VARIANT="L"), row("2", VARIANT="L")])
    assert list(Position.objects.values_list("variant", flat=True)) == ["L", "L"]
    [note] = report.notes
    assert (note.field, note.text) == ("variant", "L")
    take(make_agency(), [row("1", CODE="unmapped", VARIANT="L", SHEETING=None)])
    assert not Sign.objects.latest("pk").colour_areas.exists()


def test_the_colour_that_strikes_is_no_contradiction():
    # R3-2 has a black arrow struck by a red circle and bar: MUTCD 11th edition, 2B.26.
    report = take(make_agency(), [row("1", CODE="R3-2", LEGEND_COLOR="red")])
    assert report.notes == []
    assert list(ColourArea.objects.values_list("part", "color")) == [
        ("background", "white"),
        ("legend", "black"),
        ("secondary", "red"),
    ]


def test_the_agencys_own_words_and_types_come_before_the_catalogue():
    agency = make_agency()
    add_code_alias(organisation=agency, alias="HALT", code="R1-1", now=NOW)
    add_sign_type(
        organisation=agency,
        code="LB-1",
        name="Low Branches",
        series=Series.WARNING,
        background=Color.YELLOW,
        legend=Color.BLACK,
        now=NOW,
    )
    take(agency, [row("1", CODE="halt"), row("2", CODE="lb-1")])
    codes = list(Position.objects.values_list("sign_code", "source_code"))
    assert codes == [("R1-1", "halt"), ("LB-1", "lb-1")]
    assert ColourArea.objects.filter(sign__sign_code="LB-1")[0].color == "yellow"


@pytest.mark.parametrize(
    ("code", "listed", "recorded", "is_noted"),
    [
        ("R1-1", None, "red", False),
        ("R1-1", "red", "red", False),
        ("R1-1", "white", "red", True),
        # W11-2 may be fluorescent yellow-green: MUTCD 11th edition, 2C.55 (from memory).
        ("W11-2", "fluorescent-yellow-green", "fluorescent-yellow-green", False),
        # School signs were yellow before they were fluorescent yellow-green (2003 edition,
        # from memory).
        ("S1-1", "yellow", "yellow", False),
        ("W20-1", "fluorescent-orange", "fluorescent-orange", False),
        # A plaque matches the sign above it.
        ("W16-7P", "fluorescent-yellow-green", "fluorescent-yellow-green", False),
        ("XX-9", "blue", "blue", False),
        (None, "green", "green", False),
    ],
)
def test_the_lists_colour_counts_where_the_sign_may_have_it(code, listed, recorded, is_noted):
    agency = make_agency()
    report = take(agency, [row("1", CODE=code, BACKGROUND=listed)])
    assert ColourArea.objects.get(part="background").color == recorded
    assert any(note.field == "background colour" for note in report.notes) == is_noted


def test_sheeting_is_kept_when_the_colours_are_not_known():
    agency = make_agency()
    take(agency, [row("1", CODE=None), row("2", CODE=None, SHEETING=None)])
    area = ColourArea.objects.get()
    assert (area.part, area.color, area.sheeting_type) == ("background", "", "IV")
    assert SourceRecord.objects.get(positions__signs=area.sign).external_id == "1"


def test_black_returns_no_light_and_is_opaque():
    take(make_agency(), [row("1", CODE="W1-1")])
    assert list(ColourArea.objects.values_list("color", "colouring")) == [
        ("yellow", ""),
        ("black", "opaque"),
    ]


# Two faces -----------------------------------------------------------------------------------


def test_two_faces_of_one_size_are_the_two_sides_of_one_panel():
    agency = make_agency()
    report = take(agency, [row("1", CODE="D3-1", SIZES=[[30.0, 6.0], [30.0, 6.0]])])
    assert report.faces_made == 2
    panel = Panel.objects.get()
    assert (panel.width_in, panel.height_in) == (30.0, 6.0)
    assert panel.signs.count() == 2
    front, back = Position.objects.order_by("pk")
    assert (front.facing_deg, back.facing_deg) == (90.0, 270.0)
    assert front.support == back.support
    record = SourceRecord.objects.get()
    assert [face.number for face in record.faces.all()] == [1, 2]


def test_two_faces_of_two_sizes_share_no_panel_and_the_second_looks_nobody_knows_where():
    take(make_agency(), [row("1", SIZES=[[30.0, 6.0], [36.0, 6.0]])])
    assert not Panel.objects.exists()
    facings = list(Position.objects.order_by("pk").values_list("facing_deg", "width_in"))
    assert facings == [(90.0, 30.0), (None, 36.0)]


# Others' signs, removed signs, judgements ----------------------------------------------------


def test_signs_of_others_are_kept_and_never_due():
    agency = make_agency()
    report = take(agency, [row("1", OWNER="state"), row("2", OWNER="agency")])
    assert Sign.objects.get(responsible="state").owner == agency
    assert report.due is not None
    assert report.due.not_ours == 1
    assert report.due.due == 1


def test_a_removed_sign_of_the_list_stands_nowhere():
    agency = make_agency()
    take(agency, [row("1", STATUS="removed", REMOVED=["2020-03-02", "day"])])
    sign = Sign.objects.get()
    assert (sign.state, sign.removed_on, sign.removal_reason) == (
        "removed",
        date(2020, 3, 2),
        "other",
    )
    assert Position.objects.get().is_retired
    assert not Standing.objects.exists()


def test_a_day_of_removal_of_a_standing_sign_is_noted_and_not_taken():
    report = take(make_agency(), [row("1", STATUS="installed", REMOVED=["2020-03-02", "day"])])
    assert Sign.objects.get().removed_on is None
    assert any("says that the sign is installed" in str(note) for note in report.notes)


def test_a_judgement_with_its_day_becomes_the_inspection_it_was():
    agency = make_agency()
    agency.time_zone = "America/Chicago"
    agency.save()
    take(agency, [row("1", CONDITION=["2024-07-01", "bent", 2, "Leans"])])
    visit = Inspection.objects.get()
    assert (visit.how, visit.inspector, visit.recorded_at) == ("visual_day", None, NOW)
    assert agency.day_of(visit.taken_at) == date(2024, 7, 1)
    assert "'Leans'" in visit.note
    seen = visit.observations.get()
    assert (seen.kind, seen.severity) == ("bent", 2)
    take(agency, [row("1", CONDITION=["2024-07-01", "bent", 2, "Leans"])])
    assert Inspection.objects.count() == 1


# Supports ------------------------------------------------------------------------------------


def test_rows_of_one_key_stand_on_one_support():
    agency = make_agency()
    near = [43.00001, -89.5]
    report = take(agency, [row("1"), row("2", POINT=near), row("3", SUPPORT_KEY="P2")])
    assert report.supports_made == Support.objects.count() == 2
    assert Support.objects.get(external_key="P1").latitude_deg == 43.0
    assert report.contradicting_keys == []


def test_a_key_in_two_places_is_told_and_most_rows_decide():
    agency = make_agency()
    rows = [
        row("1", POINT=[43.1, -89.5]),
        row("2", POINT=[43.0, -89.5]),
        row("3", POINT=[43.0, -89.5]),
    ]
    report = take(agency, rows)
    assert report.supports_made == 1
    assert Support.objects.get().latitude_deg == 43.0
    [(key, elsewhere, metres)] = report.contradicting_keys
    assert (key, elsewhere) == ("P1", 1)
    # A tenth of a degree of latitude is 11.1 km.
    assert metres == pytest.approx(11_120, rel=0.01)
    [told] = [remark for remark in report.remarks if "contradicts itself" in remark]
    assert "1 support key comes with" in told
    assert "the coordinates of 1 row are kept with the row only" in told
    assert numbers(take(agency, rows, now=NOW + timedelta(days=1))) == (0, 0, 3, 0)


def test_points_can_be_trusted_before_keys():
    agency = make_agency()
    rows = [row("1", POINT=[43.1, -89.5]), row("2"), row("3")]
    report = take(agency, rows, is_key_trusted=False)
    assert report.supports_made == 2
    keys = dict(Support.objects.values_list("external_key", "latitude_deg"))
    assert keys == {"P1": 43.1, "P1 (2)": 43.0}
    again = take(agency, rows, is_key_trusted=False, now=NOW + timedelta(days=1))
    assert numbers(again) == (0, 0, 3, 0)


def test_changing_what_is_trusted_moves_the_rows_on_the_next_import():
    agency = make_agency()
    rows = [row("1", POINT=[43.1, -89.5]), row("2"), row("3")]
    take(agency, rows)
    report = take(agency, rows, is_key_trusted=False, mapping_text="2")
    assert numbers(report) == (0, 1, 2, 0)
    moved = SourceRecord.objects.get(external_id="1").positions.get().support
    assert (moved.external_key, moved.latitude_deg) == ("P1 (2)", 43.1)


def test_a_row_without_a_point_stands_where_its_support_is_known_to_be():
    agency = make_agency()
    make_support(agency, external_key="P9", latitude_deg=43.2)
    rows = [
        row("1", POINT=None),
        row("2"),
        row("3", POINT=None, SUPPORT_KEY="P9"),
        row("4", POINT=None, SUPPORT_KEY="P7"),
        row("5", POINT=None, SUPPORT_KEY=None),
    ]
    report = take(agency, rows)
    assert numbers(report) == (3, 0, 0, 2)
    placed = SourceRecord.objects.get(external_id="1").positions.get().support
    assert placed == SourceRecord.objects.get(external_id="2").positions.get().support
    assert (
        SourceRecord.objects.get(external_id="3").positions.get().support.latitude_deg == 43.2
    )
    assert all("gives no coordinates" in each.reason for each in report.refusals)


def test_rows_without_keys_are_grouped_by_distance():
    agency = make_agency()
    # 1e-5 degrees of latitude are 1.11 m.
    rows = [
        row("1", SUPPORT_KEY=None, POINT=[43.0, -89.5]),
        row("2", SUPPORT_KEY=None, POINT=[43.00001, -89.5]),
        row("3", SUPPORT_KEY=None, POINT=[43.00005, -89.5]),
    ]
    assert take(agency, rows, grouping_m=2.0).supports_made == 2
    other = make_agency()
    assert take(other, rows).supports_made == 3
    # A later row joins a support that is already there.
    more = [*rows, row("4", SUPPORT_KEY=None, POINT=[43.00001, -89.50001])]
    report = take(agency, more, grouping_m=2.0, now=NOW + timedelta(days=1))
    assert numbers(report) == (1, 0, 3, 0)
    assert report.supports_made == 0


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(
    st.lists(st.tuples(st.integers(-40, 40), st.integers(-40, 40)), min_size=1, max_size=40),
    st.sampled_from([1.0, 3.0, 10.0]),
    st.sampled_from([0.0, 43.0, -71.5]),
)
def test_grouping_by_distance_agrees_with_trying_every_support(points, metres, latitude):
    agency = make_agency()
    book = SupportBook(agency, grouping_m=metres, same_place_m=30.0, is_key_trusted=True)
    plain: list[tuple[float, float]] = []
    for north, east in points:
        point = (latitude + north * 7e-6, -89.5 + east * 7e-6)
        found = book.place("", point)
        # The nearest support there is, if it is near enough, else a new one here.
        distances = [float(distance_m(*point, *each)) for each in plain]
        if distances and min(distances) <= metres:
            expected = plain[distances.index(min(distances))]
            assert (found.latitude_deg, found.longitude_deg) == expected
        else:
            assert (found.latitude_deg, found.longitude_deg) == point
            plain.append(point)
    assert book.made == len(plain)


def test_roads_are_one_whatever_their_case_and_the_first_row_names_the_supports():
    agency = make_agency()
    rows = [
        row("1", ROAD="Elm St", SUPPORT_TYPE="u_channel"),
        row("2", ROAD="ELM ST", SUPPORT_KEY="P2", SUPPORT_TYPE=None),
        row("3", ROAD="Oak St", SUPPORT_KEY="P2", SUPPORT_TYPE="wood"),
    ]
    take(agency, rows)
    assert list(Road.objects.values_list("name", flat=True)) == ["Elm St"]
    second = Support.objects.get(external_key="P2")
    assert (str(second.road), second.support_type) == ("Elm St", "wood")


# Stopped and resumed -------------------------------------------------------------------------


class Killed(BaseException):
    """Stands for a process that is killed."""


def kill_after(batches: int):
    seen = []

    def progress(step: str, _done: int, _total: int) -> None:
        seen.append(step)
        if len(seen) == batches:
            raise Killed

    return progress


@pytest.mark.parametrize("stop", [1, 2, 3, 4, 5])
def test_a_killed_import_goes_on_without_doubling(monkeypatch, stop):
    monkeypatch.setattr("inventory.services.importing.running.BATCH_ROWS", 4)
    rows = [
        row(
            str(n),
            line=n + 2,
            SUPPORT_KEY=f"P{n % 5}" if n % 3 else None,
            POINT=[43.0 + (n % 5) * 0.001, -89.5],
            refusal="Wrong." if n == 7 else "",
        )
        for n in range(14)
    ]
    whole = take(make_agency(), rows, grouping_m=2.0)
    agency = make_agency()
    source = a_list(rows, grouping_m=2.0)
    with pytest.raises(Killed):
        import_signs(
            organisation=agency,
            source=source,
            dry_run=False,
            progress=kill_after(stop),
            now=NOW,
        )
    done = ImportRun.objects.owned_by(agency).get()
    assert done.state == "running"
    assert done.rows_done == min(4 * stop, 14)
    report = import_signs(
        organisation=agency, source=source, dry_run=False, now=NOW + timedelta(hours=1)
    )
    assert report.resumed_at_row == done.rows_done
    assert numbers(report) == numbers(whole) == (13, 0, 0, 1)
    assert report.supports_made == whole.supports_made
    assert report.faces_made == whole.faces_made
    assert len(report.refusals) == 1
    assert Sign.objects.owned_by(agency).count() == 13
    assert Standing.objects.owned_by(agency).count() == 13
    assert Support.objects.owned_by(agency).count() == whole.supports_made
    assert ImportRun.objects.owned_by(agency).get().state == "finished"


def test_another_file_ends_the_one_that_was_stopped(monkeypatch):
    monkeypatch.setattr("inventory.services.importing.running.BATCH_ROWS", 1)
    agency = make_agency()
    with pytest.raises(Killed):
        import_signs(
            organisation=agency,
            source=a_list([row("1"), row("2")]),
            dry_run=False,
            progress=kill_after(1),
            now=NOW,
        )
    report = take(agency, [row("1"), row("3")])
    assert numbers(report) == (1, 0, 1, 0)
    states = list(ImportRun.objects.order_by("pk").values_list("state", flat=True))
    assert states == ["stopped", "finished"]


def test_two_processes_do_not_share_one_import(monkeypatch):
    monkeypatch.setattr("inventory.services.importing.running.BATCH_ROWS", 1)
    agency = make_agency()

    def another_process(_step: str, _done: int, _total: int) -> None:
        ImportRun.objects.filter(rows_done=1).update(rows_done=2, unchanged_count=1)

    with pytest.raises(StateConflictError, match="another process"):
        import_signs(
            organisation=agency,
            source=a_list([row("1"), row("2"), row("3")]),
            dry_run=False,
            progress=another_process,
            now=NOW,
        )


# Conservation --------------------------------------------------------------------------------

rows_of_any_kind = st.lists(
    st.builds(
        lambda number, key, code, sizes, refused: row(
            str(number),
            SUPPORT_KEY=key,
            CODE=code,
            SIZES=sizes,
            refusal="Wrong." if refused else "",
        ),
        st.integers(1, 10_000),
        st.sampled_from([None, "P1", "P2"]),
        st.sampled_from([None, "R1-1", "XX-9", "W1-2L"]),
        st.sampled_from([None, [[30.0, 30.0]], [[None, 9.0]], [[30.0, 6.0], [30.0, 6.0]]]),
        st.booleans(),
    ),
    max_size=12,
    unique_by=lambda each: each.external_id,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20)
@given(rows_of_any_kind, rows_of_any_kind)
def test_every_row_of_every_file_is_in_exactly_one_count(first, second):
    agency = make_agency()
    for rows in (first, second):
        dry = take(agency, rows, dry_run=True)
        report = take(agency, rows)
        assert numbers(report) == numbers(dry)
        assert sum(numbers(report)) == len(rows)
        assert len(report.refusals) == report.counts[Outcome.REFUSED]
        again = take(agency, rows, now=NOW + timedelta(days=1))
        assert again.counts[Outcome.CREATED] == again.counts[Outcome.UPDATED] == 0
        assert again.counts[Outcome.REFUSED] == report.counts[Outcome.REFUSED]
    known = SourceRecord.objects.owned_by(agency).count()
    taken = {each.external_id for each in [*first, *second] if not each.refusal}
    assert known == len(taken)
    here = {each.external_id for each in second}
    assert set(report.missing) == {
        each.external_id for each in first if not each.refusal and each.external_id not in here
    }


def test_the_number_of_queries_does_not_grow_with_the_rows(django_assert_max_num_queries):
    agency = make_agency()
    rows = [row(str(n), SUPPORT_KEY=f"P{n}", POINT=[43.0 + n / 1000, -89.5]) for n in range(60)]
    with django_assert_max_num_queries(91):
        take(agency, rows)
    with django_assert_max_num_queries(30):
        take(agency, rows, now=NOW + timedelta(days=1))


def test_planning_alone_touches_nothing():
    agency = make_agency()
    take(agency, [row("1")])
    source = a_list([row("1", CODE="R1-2"), row("2")])
    planner = Planner(agency, source, Resolver(code_book(agency), Notebook()))
    plans = planner.plan(source.rows, is_writing=False)
    assert [plan.outcome for plan in plans] == [Outcome.UPDATED, Outcome.CREATED]
    assert set(plans[0].changes) == {F.SIGN_CODE, F.SOURCE_CODE, F.COLORS}
    assert Position.objects.get().sign_code == "R1-1"


def test_a_row_says_in_which_district_its_support_stands():
    agency = make_agency()
    take(agency, [row("1", DISTRICT="North")])
    assert Support.objects.get().district == "North"
    take(agency, [row("1", DISTRICT="East")])
    assert Support.objects.get().district == "East"

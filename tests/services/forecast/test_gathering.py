"""What of the fleet's readings goes into a cohort, and what is left out with its reason."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from inventory.models import FlagSettlement, InspectionFlag, Organisation, Sign
from inventory.services.assessment import assess_signs
from inventory.services.forecast import gathering
from inventory.services.forecast.gathering import GatheredCohort, gather_cohorts
from inventory.services.merging import merge_signs, undo_sign_merge
from inventory.services.own_levels import set_agency_level
from inventory.services.production import receive_overlay, record_press_event
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_support,
    make_visit,
    print_order,
)

pytestmark = pytest.mark.django_db

TODAY = date(2026, 6, 1)
WHITE = "IX/prismatic/white/sheeting/unknown/hand_held"
RED = "IX/prismatic/red/sheeting/unknown/hand_held"


@pytest.fixture
def agency():
    return make_agency(instrument_repeatability_rel=0.03, uncertainty_basis="a trial")


def gathered(agency: Organisation, **how) -> dict[str, GatheredCohort]:
    found = gather_cohorts(organisation=agency, today=TODAY, **how)
    return {cohort.key.text: cohort for cohort in found}


def ra_of(cohort):
    return cohort.observations.ra_cd_lx_m2.tolist()


def test_each_colour_of_a_face_is_a_cohort_of_its_own_with_its_visits_in_order(agency):
    sign = make_sign(agency, installed_on=date(2016, 6, 1))
    other = make_sign(agency)
    later = make_visit(sign, date(2024, 6, 1), values={"white": [200, 210], "red": [40]})
    make_visit(sign, date(2020, 6, 1), values={"white": [240, 250, 260]})
    cohorts = gathered(agency)
    assert list(cohorts) == [RED, WHITE]
    white = cohorts[WHITE]
    assert white.sign_id.tolist() == [sign.pk, other.pk]
    assert white.is_installed.tolist() == [True, True]
    seen = white.observations
    assert (seen.sign.tolist(), seen.sign_count) == ([0, 0], 2)
    assert ra_of(white) == [250.0, 205.0]
    assert seen.reading_count.tolist() == [3, 2]
    assert seen.repeatability_rel.tolist() == [0.03, 0.03]
    assert seen.age_years == pytest.approx([4.0, 8.0], abs=0.01)
    assert white.visited_on.tolist()[1] == date(2024, 6, 1).toordinal()
    assert white.recorded_on.tolist()[1] == later.recorded_at.date().toordinal()
    assert ra_of(cohorts[RED]) == [40.0]
    assert white.left_out == {}


def test_a_reading_put_right_counts_as_it_was_put_right(agency):
    sign = make_sign(agency)
    wrong = make_visit(sign, date(2020, 5, 1), values={"white": [25]})
    put_right_at = datetime(2020, 6, 1, tzinfo=UTC)
    make_visit(
        sign,
        date(2020, 5, 1),
        values={"white": [250]},
        corrects=wrong,
        recorded_at=put_right_at,
    )
    assert ra_of(gathered(agency)[WHITE]) == [250.0]
    assert ra_of(gathered(agency, recorded_before=put_right_at)[WHITE]) == [25.0]


def test_readings_in_doubt_or_set_aside_are_left_out_with_their_reason(agency):
    sign = make_sign(agency)
    visits = [make_visit(sign, date(2020 + k, 5, 1), values={"white": [250]}) for k in range(3)]
    flags = [
        InspectionFlag.objects.create(
            inspection=visit, reason="certificate_expired", raised_at=NOW
        )
        for visit in visits
    ]
    for flag, outcome in zip(flags[1:], ("set_aside", "judge"), strict=True):
        FlagSettlement.objects.create(
            flag=flag, outcome=outcome, reason="looked into", settled_at=NOW + timedelta(1)
        )
    white = gathered(agency)[WHITE]
    assert white.visited_on.tolist() == [date(2022, 5, 1).toordinal()]
    assert white.left_out == {
        "its instrument is in doubt and the flag is not settled": 1,
        "set aside by a person": 1,
    }
    before = gathered(agency, recorded_before=NOW)[WHITE]
    assert len(before.observations) == 3


def test_what_was_read_on_a_duplicate_counts_for_the_sign_kept_while_they_are_one(agency):
    support = make_support(agency)
    kept = make_sign(agency, position=make_position(agency, support=support))
    double = make_sign(agency, position=make_position(agency, support=support))
    make_visit(double, date(2021, 5, 1), values={"white": [240]})
    make_visit(kept, date(2023, 5, 1), values={"white": [230]})
    merge = merge_signs(kept=kept, duplicate=double, reason="one face", now=NOW)
    white = gathered(agency)[WHITE]
    assert white.sign_id.tolist() == [kept.pk]
    assert (white.observations.sign.tolist(), ra_of(white)) == ([0, 0], [240.0, 230.0])
    assert gathered(agency, recorded_before=NOW)[WHITE].sign_id.tolist() == [
        kept.pk,
        double.pk,
    ]
    undo_sign_merge(merge=merge, reason="two faces after all", now=NOW)
    white = gathered(agency)[WHITE]
    assert white.observations.sign.tolist() == [0, 1]


def test_damp_faces_other_geometries_readings_of_0_and_slips_of_dates_are_left_out(agency):
    sign = make_sign(agency, installed_on=date(2015, 5, 1))
    make_visit(sign, date(2018, 5, 1), values={"white": [90]}, surface_state="damp")
    make_visit(sign, date(2018, 5, 2), values={"white": [90]}, observation_angle_deg="0.5")
    make_visit(sign, date(2018, 5, 3), values={"white": [0, 0]})
    make_visit(sign, date(2018, 5, 4), values={"white": [0, 250, 240]})
    make_visit(sign, date(2015, 4, 30), values={"white": [251]})
    make_visit(sign, date(2018, 5, 5), values={"white": [251]}, how="visual_night")
    white = gathered(agency)[WHITE]
    assert ra_of(white) == [245.0]
    assert white.observations.reading_count.tolist() == [2]
    reasons = sorted(white.left_out)
    assert list(white.left_out.values()) == [1] * 4
    assert [reason.split()[0:3] for reason in reasons] == [
        ["a", "reading", "of"],
        ["read", "at", "another"],
        ["read", "before", "the"],
        ["the", "face", "was"],
    ]


def test_a_date_of_reduced_precision_is_its_middle_and_takes_readings_of_its_span(agency):
    month = make_sign(agency, installed_on=date(2015, 5, 1), installed_precision="month")
    year = make_sign(agency, installed_on=date(2015, 1, 1), installed_precision="year")
    for sign in (month, year):
        make_visit(sign, date(2015, 5, 2), values={"white": [250]})
        make_visit(sign, date(2020, 5, 2), values={"white": [240]})
    white = gathered(agency)[WHITE]
    middles = [date(2015, 5, 16).toordinal(), date(2015, 7, 2).toordinal()]
    assert white.started_on.tolist() == middles
    assert white.observations.age_years == pytest.approx([0, 4.96, 0, 4.83], abs=0.01)
    assert white.observations.is_age_known.all()
    assert white.left_out == {}


def test_a_sign_of_unknown_age_starts_from_its_first_reading_and_an_unread_one_nowhere(agency):
    read = make_sign(agency, installed_on=None)
    make_visit(read, date(2019, 6, 1), values={"white": [240]})
    make_visit(read, date(2022, 6, 1), values={"white": [220]})
    make_sign(agency, installed_on=None)
    white = gathered(agency)[WHITE]
    assert white.started_on.tolist() == [date(2019, 6, 1).toordinal(), -1]
    assert white.observations.is_age_known.tolist() == [False, False]
    assert white.observations.age_years == pytest.approx([0.0, 3.0], abs=0.01)


def test_mobile_readings_are_a_cohort_apart(agency):
    sign = make_sign(agency)
    make_visit(sign, date(2019, 6, 1), values={"white": [240]})
    make_visit(sign, date(2019, 6, 2), values={"white": [265]}, how="mobile")
    cohorts = gathered(agency)
    assert ra_of(cohorts[WHITE]) == [240.0]
    assert ra_of(cohorts[WHITE.replace("hand_held", "mobile")]) == [265.0]
    assert RED.replace("hand_held", "mobile") not in cohorts


def test_a_sign_taken_down_informs_the_fit_and_an_unread_one_is_left_away(agency):
    down: dict[str, Any] = {
        "state": Sign.State.REMOVED,
        "removed_on": date(2024, 1, 1),
        "removal_reason": "aged",
    }
    read = make_sign(agency, **down)
    make_visit(read, date(2019, 6, 1), values={"white": [240]})
    make_sign(agency, **down)
    cohorts = gathered(agency)
    assert cohorts[WHITE].sign_id.tolist() == [read.pk]
    assert cohorts[WHITE].is_installed.tolist() == [False]
    assert RED not in cohorts


def test_a_colour_not_on_record_is_of_unknown_make_and_an_opaque_one_is_none(agency):
    bare = make_sign(agency, colours=())
    make_visit(bare, date(2019, 6, 1), values={"white": [240]})
    opaque = make_sign(agency, colours=(("background", "white"), ("legend", "black")))
    opaque.colour_areas.filter(color="white").update(colouring="opaque")
    assert list(gathered(agency)) == ["?/unknown/white/?/unknown/hand_held"]


def test_levels_are_those_of_the_newest_assessment_own_levels_included(agency):
    make_sign(agency)
    school = "fluorescent-yellow-green"
    make_sign(
        agency,
        sign_code="S1-1",
        colours=(("background", school), ("legend", "black")),
        sheeting_type="IX",
    )
    assert np.isnan(gathered(agency)[WHITE].level_cd_lx_m2).all()
    set_agency_level(
        agency=agency,
        background=school,
        legend="black",
        color=school,
        minimum="75",
        basis="a trial",
        approved_by="the engineer",
        approved_on=TODAY,
        effective_on=TODAY,
        now=NOW,
    )
    assess_signs(organisation=agency, now=NOW)
    cohorts = gathered(agency)
    # MUTCD 11th edition (2023) Table 2A-5: white on red, white 35, red 7
    assert cohorts[WHITE].level_cd_lx_m2.tolist() == [35.0]
    assert cohorts[RED].level_cd_lx_m2.tolist() == [7.0]
    assert cohorts[WHITE.replace("white", school)].level_cd_lx_m2.tolist() == [75.0]
    assert np.isnan(gathered(agency, recorded_before=NOW)[WHITE].level_cd_lx_m2).all()


def test_quadrant_district_and_session_are_numbered_and_unknown_stays_unknown(agency):
    north = make_support(agency, district="North")
    east = make_support(agency, district="East")
    instrument = make_instrument(agency)
    places = [
        make_position(agency, support=north, facing_deg=350.0),
        make_position(agency, support=east, facing_deg=90.0),
        make_position(agency),
    ]
    for place in places:
        sign = make_sign(agency, position=place)
        make_visit(sign, date(2019, 6, 1), values={"white": [240]}, instrument=instrument)
    make_visit(sign, date(2020, 6, 1), values={"white": [240]}, instrument=instrument)
    make_visit(sign, date(2021, 6, 1), values={"white": [240]})
    white = gathered(agency)[WHITE]
    assert white.observations.quadrant.tolist() == [0, 1, -1]
    assert white.district_names == ("East", "North")
    assert white.observations.district.tolist() == [1, 0, -1]
    assert white.observations.session.tolist() == [0, 0, 0, 1, -1]


def test_a_session_is_a_day_of_the_agencys_own_clock(agency):
    agency.time_zone = "America/Chicago"
    agency.save()
    instrument = make_instrument(agency)
    sign = make_sign(agency)
    for hour in (2, 23):  # 21:00 of the day before, and 18:00 of the day
        at = datetime(2019, 6, 2, hour, tzinfo=UTC)
        make_visit(sign, at, values={"white": [240]}, instrument=instrument)
    white = gathered(agency)[WHITE]
    assert white.visited_on.tolist() == [date(2019, 6, day).toordinal() for day in (1, 2)]
    assert white.observations.session.tolist() == [0, 1]


def printed(agency: Organisation, shop: Organisation, lot: str, **on) -> list[Sign]:
    """Return two faces of an agency printed on a lot, put up; ``on``: what else was on."""
    press = make_press(shop, make_roll(shop, lot=lot))
    film = on.get("overlay")
    at = NOW - timedelta(hours=20)
    for color, ink_lot in on.get("inks", {}).items():
        record_press_event(
            press=press,
            kind="ink_changed",
            happened_at=at,
            ink_channel=color,
            ink_color=color,
            ink_lot=ink_lot,
            now=NOW,
        )
    if film is not None:
        record_press_event(
            press=press, kind="overlay_loaded", overlay=film, happened_at=at, now=NOW
        )
    if "second_roll_at" in on:
        second = make_roll(shop, lot=lot + "-2")
        record_press_event(
            press=press,
            kind="ink_changed",
            happened_at=on["second_roll_at"],
            ink_channel="red",
            ink_color="red",
            ink_lot=second.lot,
            now=NOW,
        )
    old = [make_sign(agency) for _ in range(2)]
    run = print_order(make_released_order(agency, shop, old), press)
    places = [make_position(agency) for _ in range(2)]
    faces = list(Sign.objects.filter(print_run=run).order_by("pk"))
    for face, place in zip(faces, places, strict=True):
        face.owner, face.position, face.state = agency, place, Sign.State.INSTALLED
        face.installed_on = TODAY
        face.save()
    return faces


def test_lots_come_from_the_press_log_and_are_told_apart_per_maker(agency):
    shops = [make_shop(agency=agency) for _ in range(2)]
    film = receive_overlay(
        shop=shops[0], roll_number="F1", lot="FILM", width_in=48, length_ft=150, now=NOW
    )
    first = printed(agency, shops[0], "A", inks={"red": "RED-1"}, overlay=film)
    second = printed(agency, shops[1], "A", inks={"red": "RED-1"})
    cohorts = gathered(agency)
    under_film = cohorts["XI/prismatic/red/printed_spot/film/hand_held"]
    assert under_film.sign_id.tolist() == [face.pk for face in first]
    bare = cohorts["XI/prismatic/red/printed_spot/unknown/hand_held"]
    assert bare.sign_id.tolist() == [face.pk for face in second]
    lots = {*under_film.observations.lot.tolist()} | {*bare.observations.lot.tolist()}
    assert lots == {0, 1}
    assert bare.lot_names == ("A", "A")
    assert set(bare.lot_makers) == {shop.pk for shop in shops}
    ink = under_film.observations.ink_lot.tolist()
    assert [under_film.ink_lot_names[number] for number in ink] == ["RED-1", "RED-1"]
    assert [under_film.overlay_lot_names[n] for n in under_film.observations.overlay_lot] == [
        "FILM",
        "FILM",
    ]
    white = cohorts["XI/prismatic/white/sheeting/film/hand_held"]
    assert white.observations.ink_lot.tolist() == [-1, -1]
    run = under_film.run_names[under_film.observations.run[0]]
    assert run.endswith("run 0001")


def test_a_run_through_which_the_ink_changed_is_of_no_known_ink_lot(agency):
    shop = make_shop(agency=agency)
    printed(agency, shop, "A", inks={"red": "R1"}, second_roll_at=NOW - timedelta(minutes=15))
    red = gathered(agency)["XI/prismatic/red/printed_spot/unknown/hand_held"]
    assert red.observations.ink_lot.tolist() == [-1, -1]
    assert [red.lot_names[lot] for lot in red.observations.lot] == ["A", "A"]


def test_any_number_of_signs_takes_a_few_queries(agency, django_assert_num_queries):
    for _ in range(7):
        make_visit(make_sign(agency), date(2019, 6, 1), values={"white": [240], "red": [40]})
    make_visit(make_sign(agency), date(2019, 6, 1), values={"white": [240], "red": [40]})
    assess_signs(organisation=agency, now=NOW)
    # runs, corrections, flags, merges, relinks, rules, districts; signs, colours, newest
    # assessments, levels, visits, sets, values; signs once more to find that none is left
    with django_assert_num_queries(15):
        assert len(gathered(agency)[WHITE].observations) == 8


def test_steps_join_without_a_seam_and_say_how_far_they_are(agency, monkeypatch):
    for _ in range(5):
        make_visit(make_sign(agency), date(2019, 6, 1), values={"white": [240]})
    whole = gathered(agency)[WHITE]
    monkeypatch.setattr(gathering, "SIGNS_PER_STEP", 2)
    told: list[tuple[int, int]] = []
    found = gather_cohorts(
        organisation=agency, today=TODAY, progress=lambda *each: told.append(each)
    )
    parts = {cohort.key.text: cohort for cohort in found}[WHITE]
    assert parts.sign_id.tolist() == whole.sign_id.tolist()
    assert parts.observations.sign.tolist() == whole.observations.sign.tolist()
    assert told == [(2, 5), (4, 5), (5, 5)]


def test_another_agencys_signs_are_not_gathered(agency):
    make_visit(make_sign(make_agency()), date(2019, 6, 1), values={"white": [240]})
    assert gathered(agency) == {}

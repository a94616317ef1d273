"""Colours that faded: what counts, from when, and what holds where too few were seen."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest

from inventory.engineering.forecast.fade import FadeSource
from inventory.models import Sign, SignForecast
from inventory.services.forecast.expected_lives import set_expected_life
from inventory.services.forecast.fade_looks import fade_looks
from inventory.services.forecast.fades import fade_lives, fades_from_json, fades_to_json
from inventory.services.forecast.refreshing import refresh_forecasts
from inventory.services.inspection import ObservationInput, record_inspection
from tests.factories import NOW, make_agency, make_sign

pytestmark = pytest.mark.django_db


def put_up(agency, years_ago, **fields):
    day = date(NOW.year - years_ago, 6, 1)
    return make_sign(
        agency, sheeting_type="III", optics="beaded", **{"installed_on": day} | fields
    )


def took_down(agency, at_years, reason):
    return put_up(
        agency,
        15,
        state=Sign.State.REMOVED,
        removed_on=date(NOW.year - 15 + at_years, 6, 1),
        removal_reason=reason,
    )


def looked_at(sign, on, kind="general", severity=0, **fields):
    moment = datetime(on.year, on.month, on.day, 12, tzinfo=UTC)
    return record_inspection(
        sign=sign,
        taken_at=moment,
        how="visual_day",
        observations=[ObservationInput(kind=kind, severity=severity)],
        now=moment,
        **fields,
    )


def lives(agency):
    return fade_lives(organisation=agency, now=NOW)


def test_five_red_faces_taken_down_for_fading_make_the_life_of_red():
    agency = make_agency()
    for years in (8, 9, 10, 11, 12):
        took_down(agency, years, "faded")
    for _ in range(10):
        took_down(agency, 12, "outdated")
    found = lives(agency)
    red = found["III", "red"]
    assert red.source is FadeSource.OWN
    assert (red.faded_count, red.seen_count) == (5, 15)
    assert red.early_years == pytest.approx(8, abs=0.01)
    # The faces are white on red: white has no hue to lose, and nothing is known of it.
    assert ("III", "white") not in found


def test_a_face_seen_faded_counts_from_that_day_and_a_slight_fade_does_not():
    agency = make_agency()
    signs = [put_up(agency, 11) for _ in range(12)]
    for place, sign in enumerate(signs):
        looked_at(sign, date(2024, 6, 1), "faded", 2 if place < 6 else 1)
        looked_at(sign, date(2026, 5, 1), "faded", 2 if place < 6 else 1)
    red = lives(agency)["III", "red"]
    assert red.faded_count == 6
    assert red.years == pytest.approx(9.0, abs=0.01)


def test_what_was_put_right_does_not_count():
    agency = make_agency()
    signs = [put_up(agency, 11) for _ in range(12)]
    for sign in signs[:6]:
        wrong = looked_at(sign, date(2024, 6, 1), "faded", 2)
        looked_at(sign, date(2024, 6, 1), corrects=wrong)
    for sign in signs[6:]:
        looked_at(sign, date(2026, 5, 1))
    assert lives(agency) == {}


def test_a_face_nobody_looked_at_says_nothing():
    agency = make_agency()
    for years in (8, 9, 10, 11, 12):
        took_down(agency, years, "faded")
    for _ in range(50):
        put_up(agency, 15)
    assert lives(agency)["III", "red"].seen_count == 5


def test_too_few_faded_leaves_it_to_the_agencys_own_life():
    agency = make_agency()
    for years in (8, 9, 10, 11):
        took_down(agency, years, "faded")
    assert lives(agency) == {}
    set_expected_life(
        organisation=agency,
        end="fade",
        color="red",
        years=10.0,
        basis="own signs (invented)",
        approved_by="the engineer",
        effective_on=date(2026, 1, 1),
        now=NOW,
    )
    red = lives(agency)["III", "red"]
    assert (red.years, red.source) == (10.0, FadeSource.AGENCY)
    assert "own signs (invented)" in red.basis


def test_without_either_it_is_not_known_and_no_published_figure_stands_in():
    agency = make_agency()
    put_up(agency, 12)
    assert lives(agency) == {}


def test_a_stored_life_comes_back_as_it_was():
    agency = make_agency()
    for years in (8, 9, 10, 11, 12):
        took_down(agency, years, "faded")
        took_down(agency, years, "outdated")
    found = lives(agency)
    assert fades_from_json(json.loads(json.dumps(fades_to_json(found)))) == found


def test_a_fleet_is_asked_in_few_queries(django_assert_num_queries):
    agency = make_agency()
    for years in (8, 9, 10, 11, 12):
        took_down(agency, years, "faded")
    with django_assert_num_queries(10):
        lives(agency)


def test_a_face_seen_unfaded_is_due_by_those_that_had_not_faded_at_its_age_either():
    # By hand. One face faded at each of 6 to 12 years, three came down at 13 for another
    # reason, and one was seen unfaded at 10.4: eleven watched, left are 10/11, 9/11, 8/11 (at
    # 8 years), 7/11, 6/11 (at 10) and, of the five then watched, 4/5 and 3/5 of that at 11 and
    # 12. With a due probability of 20 % (as shipped) a face nobody looked at is due at 8 years,
    # the first with at most 0.8 left; the one seen unfaded at 11, the first with 0.8 of what
    # was left then.
    agency = make_agency()
    for years in range(6, 13):
        took_down(agency, years, "faded")
    for _ in range(3):
        took_down(agency, 13, "outdated")
    seen, unseen = (put_up(agency, 11, installed_on=date(2016, 1, 1)) for _ in range(2))
    looked_at(seen, date(2026, 5, 26))

    def fade_of(sign):
        (red,) = (c for c in SignForecast.objects.get(sign=sign).colors if c["color"] == "red")
        return red["fade"]

    refresh_forecasts(organisation=agency, now=NOW)
    assert abs(date.fromisoformat(fade_of(unseen)["due_on"]) - date(2024, 1, 1)).days <= 2
    assert abs(date.fromisoformat(fade_of(seen)["due_on"]) - date(2027, 1, 1)).days <= 2
    looked_at(unseen, date(2026, 5, 28))
    refresh_forecasts(organisation=agency, now=NOW + timedelta(hours=1))
    assert fade_of(unseen) == fade_of(seen)


def test_a_face_seen_faded_does_not_count_as_unfaded_by_a_later_look():
    agency = make_agency()
    sign = put_up(agency, 11)
    looked_at(sign, date(2024, 6, 1), "faded", 2)
    looked_at(sign, date(2026, 5, 1))
    assert fade_looks(agency).unfaded_on(sign.pk) is None

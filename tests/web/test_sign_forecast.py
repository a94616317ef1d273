"""What the page of a sign says of what happens next, and what is not known of it."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from inventory.models import Role
from inventory.services.forecast.sign_outlook import ColorOutlook, outlook_of
from inventory.services.inspection import ReadingSetInput, record_inspection
from tests.factories import NOW, make_agency, make_sign
from tests.web.acting import act_as
from tests.web.forecast_records import color_of, make_fit, make_forecast

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def sign(agency):
    return make_sign(agency)


def read(sign, days_ago=10, **fields):
    return record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=days_ago),
        how="hand_held",
        surface_state="dry",
        reading_sets=[ReadingSetInput("white", ("210", "214"))],
        now=fields.pop("now", NOW - timedelta(days=days_ago)),
        **fields,
    )


def page_of(client, sign):
    return client.get(reverse("sign-page", args=(sign.pk,)))


def test_the_sentence_comes_first_then_the_figures_and_the_cohort(client, agency, sign):
    fit = make_fit(agency)
    forecast = make_forecast(sign, [color_of(fit)])
    read(sign)
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    part = page[page.index("What happens next") :]
    assert part.index(forecast.sentence) < part.index("R<sub>A</sub> now")
    assert "Reckoned from its own readings and its cohort" in part
    assert "Mar 2034; 90 % of such signs between Feb 2031 and Oct 2041" in part
    assert reverse("cohort-page", args=(fit.pk,)) in part


def test_the_curve_has_its_band_its_level_and_the_time_in_which_it_falls_due(
    client, agency, sign
):
    make_forecast(sign, [color_of(make_fit(agency))])
    read(sign)
    act_as(client, agency)
    plot = page_of(client, sign).context["outlook"].governing.plot
    series = {each["label"]: each for each in plot.spec["series"]}
    assert list(series) == [
        "90 % of such signs",
        "expected",
        "90 % of such signs, older than any read",
        "expected, older than any read",
        "read, ± 90 %",
    ]
    assert series["expected, older than any read"]["dashed"]
    assert not series["expected"]["dashed"]
    # It goes on where it was: the dashed part starts at the end of the other.
    assert series["expected"]["x"][-1] == series["expected, older than any read"]["x"][0]
    (due,) = plot.spec["spans"]
    assert (round(due["from"], 1), round(due["to"], 1)) == (
        2031.1,
        2041.8,
    )  # 2041-10-01 is 2041.75
    assert plot.spec["marks"] == [{"label": "now", "at": 2026.41}]


def test_the_table_has_the_readings_then_now_and_each_years_end(client, agency, sign):
    make_forecast(sign, [color_of(make_fit(agency))])
    read(sign)
    act_as(client, agency)
    rows = page_of(client, sign).context["outlook"].governing.plot.rows
    assert [row[0] for row in rows[:4]] == ["2026-05-22", "now", "end of 2026", "end of 2027"]
    assert rows[0][2] == "212"
    below = [row[5] for row in rows[1:]]
    assert below[0] == "under 1 %"
    # About 215 now, less 4 % a year for 16 years, is 113: more likely below 120 than not.
    assert 50 < int(below[-1].removesuffix(" %")) < 95


def governing_of(sign, agency) -> ColorOutlook:
    """Return what is told of the colour that governs."""
    outlook = outlook_of(sign=sign, organisation=agency)
    assert outlook is not None
    assert outlook.governing is not None
    return outlook.governing


def test_the_probability_now_on_the_curve_is_the_one_that_was_stored(agency, sign):
    make_forecast(sign, [color_of(make_fit(agency), level_cd_lx_m2=210.0)])
    governing = governing_of(sign, agency)
    curve = governing.curve
    assert curve is not None
    now = 2026 + (date(2026, 6, 1) - date(2026, 1, 1)).days / 365
    ra, low, high = curve.at(now)
    # Both are reckoned from one state; between the curve's points there is a straight line.
    assert ra == pytest.approx(governing.ra_cd_lx_m2, rel=2e-3)
    assert low == pytest.approx(governing.ra_low_cd_lx_m2, rel=2e-3)
    assert high == pytest.approx(governing.ra_high_cd_lx_m2, rel=2e-3)
    chance = curve.probability_at(now)
    assert chance is not None
    assert 0.05 < chance < 0.95


def test_a_reading_recorded_after_the_forecast_is_said_to_be_newer(client, agency, sign):
    make_forecast(sign, [color_of(make_fit(agency))], made_at=NOW - timedelta(days=20))
    read(sign, days_ago=10)
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    assert "made before the newest reading was recorded" in page
    assert "made anew each night" in page


def test_a_forecast_newer_than_every_reading_does_not_say_so(client, agency, sign):
    make_forecast(sign, [color_of(make_fit(agency))])
    read(sign, days_ago=10)
    act_as(client, agency)
    assert "made before the newest reading" not in page_of(client, sign).content.decode()


def test_what_is_not_known_is_said_plainly(client, agency, sign):
    fit = make_fit(agency)
    make_forecast(
        sign,
        [
            color_of(
                fit,
                is_age_known=False,
                is_extrapolated=True,
                due_on=None,
                due_early_on="2051-03-01",
                due_late_on=None,
            ),
            color_of(
                None,
                "red",
                basis="agency_life",
                due_early_on=None,
                due_late_on=None,
                life="12 years, as the agency expects of printed red.",
            ),
        ],
    )
    read(sign)
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    for fact in (
        "not within 30 years; 5 % of such signs before Mar 2051",
        "When this sign was put up is not known",
        "no sign of its cohort had when it was read",
        "12 years, as the agency expects of printed red.",
    ):
        assert fact in page, fact


def test_each_colour_has_a_drawing_and_the_governing_one_comes_first(client, agency, sign):
    fit = make_fit(agency)
    make_forecast(sign, [color_of(fit), color_of(fit, "red")], color="red")
    act_as(client, agency)
    outlook = page_of(client, sign).context["outlook"]
    assert [part.color for part in outlook.parts] == ["red", "white"]
    assert all(part.plot for part in outlook.parts)


def test_a_colour_that_fades_says_by_when_and_that_it_comes_first(client, agency, sign):
    fade = {
        "due_on": "2030-04-01",
        "due_early_on": "2028-01-01",
        "due_late_on": "2033-01-01",
        "basis": "cohort",
    }
    make_forecast(sign, [color_of(make_fit(agency), fade=fade)], end="fade")
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    assert "Apr 2030; 90 % of such signs between Jan 2028 and Jan 2033" in page
    assert "as such faces have faded here" in page
    assert "expected to fade before its R<sub>A</sub> falls below the level" in page


def test_a_sign_without_a_forecast_says_when_forecasts_are_made(client, agency, sign):
    act_as(client, agency)
    assert "Nothing is forecast of this face yet" in page_of(client, sign).content.decode()


def test_the_crew_sees_what_happens_next_without_a_way_to_the_cohort(client, agency, sign):
    fit = make_fit(agency)
    forecast = make_forecast(sign, [color_of(fit)])
    act_as(client, agency, Role.CREW)
    page = page_of(client, sign).content.decode()
    assert forecast.sentence in page
    assert "Type III white" in page
    assert reverse("cohort-page", args=(fit.pk,)) not in page


def test_a_forecast_takes_two_queries_however_many_colours(
    agency, sign, django_assert_num_queries
):
    fits = [make_fit(agency), make_fit(agency, "III/beaded/red/film/none/hand_held")]
    make_forecast(sign, [color_of(fits[0]), color_of(fits[1], "red")])
    with django_assert_num_queries(2):
        outlook = outlook_of(sign=sign, organisation=agency)
    assert outlook is not None
    assert all(each.curve for each in outlook.colors)


def test_a_fit_by_an_older_method_leaves_the_figures_and_no_curve(agency, sign):
    fit = make_fit(agency)
    make_forecast(sign, [color_of(fit)])
    fit.parameters = {"method": "forecast-0"}
    fit.save(update_fields=["parameters"])
    governing = governing_of(sign, agency)
    assert governing.curve is None
    assert governing.ra_cd_lx_m2 is not None

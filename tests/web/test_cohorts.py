"""The pages of cohorts say what the readings say together, and what they do not."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.engineering.forecast.fit import OtherScale, Scale, fit_cohort
from inventory.engineering.forecast.shapes import LINEAR
from inventory.models import Role
from tests.factories import NOW, make_agency, make_sign
from tests.web.acting import act_as
from tests.web.forecast_records import color_of, fitted, make_fit, make_forecast, visits

pytestmark = pytest.mark.django_db

RED = "III/beaded/red/printed_spot/film/hand_held"


@pytest.fixture
def agency():
    return make_agency()


def page_of(client, fit):
    return client.get(reverse("cohort-page", args=(fit.pk,)))


def test_the_list_says_in_words_what_each_cohort_is_and_how_fast_it_falls(client, agency):
    make_fit(agency)
    act_as(client, agency)
    response = client.get(reverse("cohort-list"))
    row = response.context["rows"][0]
    assert row.words == (
        "Type III white, beaded, colour of the sheeting, overlay not known, read by hand-held "
        "instrument"
    )
    assert row.shape == "the same share each year"
    assert row.change.startswith("−")
    page = response.content.decode()
    assert "Half below" in page
    assert row.median_life in page


def test_the_list_takes_as_many_queries_for_many_cohorts_as_for_one(
    client, agency, django_assert_num_queries
):
    act_as(client, agency)
    make_fit(agency)
    client.get(reverse("cohort-list"))
    for color in ("red", "yellow", "green", "blue"):
        make_fit(agency, f"III/beaded/{color}/sheeting/unknown/hand_held")
    # Session, person, membership, their number, the fits of one page.
    with django_assert_num_queries(5):
        response = client.get(reverse("cohort-list"))
    assert len(response.context["rows"]) == 5


def test_an_agency_without_a_cohort_is_told_what_it_takes(client, agency):
    act_as(client, agency)
    page = client.get(reverse("cohort-list")).content.decode()
    assert "No cohort was fitted yet" in page


def test_cohorts_are_for_the_engineer(client, agency):
    fit = make_fit(agency)
    act_as(client, agency, Role.CREW)
    for address in (reverse("cohort-list"), reverse("cohort-page", args=(fit.pk,))):
        assert client.get(address).status_code == 403


def test_another_agency_has_no_such_cohort(client, agency):
    fit = make_fit(agency)
    act_as(client, make_agency())
    assert page_of(client, fit).status_code == 404


def test_the_page_says_what_it_is_based_on_and_what_was_left_out(client, agency):
    act_as(client, agency)
    page = page_of(client, make_fit(agency)).content.decode()
    for fact in (
        "80; the age of 10 of them is not known",
        "3 visits: dew was on the face",
        "1 visit: set aside by a person",
        "20 visits of signs of unknown age are not drawn",
        "Taken for granted before any reading",
        "−3.0 % a year, give or take 5 %",
        "a share each year",
        "foretold best",
        "worse by 0.040 a visit (± 0.011)",
    ):
        assert fact in page, fact


def test_published_ranges_stand_beside_the_cohort_they_are_of_and_no_other(client, agency):
    # In-service sign retroreflectivity and deterioration rates in Texas (2011), abstract:
    # Type III white −8 to −2 cd/lx/m² a year.
    act_as(client, agency)
    white = page_of(client, make_fit(agency)).content.decode()
    assert "−8 to −2 cd/lx/m² a year" in white
    assert "read in the abstract: ranges only" in white
    red = page_of(client, make_fit(agency, RED)).content.decode()
    assert "No published range could be verified" in red


def test_the_drawing_shows_readings_line_and_level_and_is_dashed_beyond_the_ages_read(
    client, agency
):
    act_as(client, agency)
    plot = page_of(client, make_fit(agency)).context["plot"]
    kinds = [(each["kind"], each["dashed"]) for each in plot.spec["series"]]
    assert kinds == [
        ("points", False),
        ("band", False),
        ("line", False),
        ("band", True),
        ("line", True),
    ]
    assert len(plot.spec["series"][0]["values"]) == 140
    assert plot.spec["levels"] == [{"label": "usual level 120", "value": 120}]
    assert plot.rows[0][0] == "0"
    assert plot.rows[-1][-1] == "older than any read"


def test_signs_that_fall_due_are_listed_and_counted(
    client, agency, django_assert_max_num_queries
):
    fit = make_fit(agency)
    signs = [make_sign(agency) for _ in range(12)]
    for number, sign in enumerate(signs):
        day = f"{2030 + number}-01-01"
        make_forecast(sign, [color_of(None, fit_id=fit.pk, due_on=day, due_early_on=day)])
    act_as(client, agency)
    with django_assert_max_num_queries(9):
        response = page_of(client, fit)
    view = response.context["view"]
    assert [each.sign_id for each in view.next_due] == [each.pk for each in signs[:10]]
    page = response.content.decode()
    assert "The first 10 of 12" in page
    assert f"{reverse('due-dates')}?cohort=III/beaded/white" in page


def test_an_earlier_fit_leads_to_the_newest_and_keeps_no_drawing_of_readings(client, agency):
    old = make_fit(
        agency,
        fitted_at=NOW - timedelta(days=30),
        succeeded_at=NOW,
        cloud={},
    )
    new = make_fit(agency)
    act_as(client, agency)
    page = page_of(client, old).content.decode()
    assert "This is an earlier fit" in page
    assert reverse("cohort-page", args=(new.pk,)) in page
    assert "The readings of an earlier fit are not drawn" in page
    assert reverse("cohort-page", args=(old.pk,)) in page_of(client, new).content.decode()
    assert [row.fit for row in client.get(reverse("cohort-list")).context["rows"]] == [new]


def test_a_fit_by_an_older_method_is_shown_without_its_line(client, agency):
    fit = make_fit(agency, parameters={"method": "forecast-0"}, method_version="forecast-0")
    act_as(client, agency)
    response = page_of(client, fit)
    assert "This fit was made by method forecast-0" in response.content.decode()
    assert [each["kind"] for each in response.context["plot"].spec["series"]] == ["points"]


def test_a_cohort_without_a_level_has_no_life_and_says_so(client, agency):
    fit = make_fit(agency, life={})
    act_as(client, agency)
    page = page_of(client, fit).content.decode()
    assert "its signs have no level on record" in page
    assert "Life table" not in page


def test_few_signs_are_said_to_lean_on_what_is_taken_for_granted(client, agency):
    act_as(client, agency)
    few = page_of(client, make_fit(agency, sign_count=4)).content.decode()
    assert "Only 4 signs of this cohort were read" in few
    many = page_of(client, make_fit(agency, RED)).content.decode()
    assert "still weighs (see below)" not in many


def test_every_level_that_its_signs_have_to_keep_is_said_and_the_usual_ones_drawn(
    client, agency
):
    fit = make_fit(agency)
    fit.life |= {"levels": [[120.0, 40], [75.0, 12], [60.0, 1]]}
    fit.save()
    act_as(client, agency)
    page = page_of(client, fit)
    assert [each["label"] for each in page.context["plot"].spec["levels"]] == [
        "level 120 of 40 signs",
        "level 75 of 12 signs",
    ]
    text = page.content.decode()
    assert "for 120 cd/lx/m², which 40 of its signs have to keep" in text
    assert "Others have to keep 75 (12) and 60 (1)" in text


def test_a_cohort_whose_scale_is_open_says_so_in_words(client, agency):
    fit = make_fit(agency)
    log = fitted()
    plain = fit_cohort(visits(), scale=Scale.PLAIN, shape=LINEAR)
    fit.parameters = replace(log, other=OtherScale(plain, 0.5)).to_json()
    fit.save()
    act_as(client, agency)
    page = page_of(client, fit)
    assert "the same share each year or the same amount each year" in page.content.decode()

    def middle(drawn):
        series = drawn.context["plot"].spec["series"]
        return next(each["values"] for each in series if each["kind"] == "line")

    assert middle(page) != middle(page_of(client, make_fit(agency, RED)))

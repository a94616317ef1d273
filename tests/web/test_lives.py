"""The pages of expected lives, of losses and of control signs."""

from datetime import date

import pytest
from django.urls import reverse

from inventory.engineering.forecast.life import CrossingAge, Life
from inventory.models import CohortFit, ExpectedLife, MethodAssignment, Role, Sign, SignForecast
from inventory.services.forecast.expected_lives import set_expected_life
from inventory.services.methods import assign, create_group
from tests.factories import NOW, make_agency, make_person, make_shop, make_sign, position_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(client, agency):
    client.force_login(make_person(agency))
    return client


def fit_of(agency, color="white", *, median=12.0, warned=False, life=True, level=120.0):
    shares = (0.0, 0.01, 0.03, 0.08, *[0.5] * 27)
    stored = Life(
        level,
        CrossingAge(0.5, median, median and median - 1, median and median + 1),
        (CrossingAge(0.05, 2.5, 2.1, 3.0), CrossingAge(0.15, 4.0, 3.5, 4.5)),
        10.0,
        shares,
        shares,
        tuple(min(2 * each, 1.0) for each in shares),
    )
    return CohortFit.objects.create(
        organisation=agency,
        key=f"III/beaded/{color}/sheeting/none/hand_held",
        sheeting_type="III",
        optics="beaded",
        color=color,
        colouring="sheeting",
        overlay="none",
        how="hand_held",
        method_version="for tests",
        fingerprint=color,
        fitted_at=NOW,
        newest_reading_on=NOW.date(),
        sign_count=40,
        visit_count=90,
        oldest_age_years=10.0,
        scale="log",
        shape="linear",
        parameters={},
        scores={},
        life=stored.to_json() if life else {},
    )


def forecast(sign, fit):
    return SignForecast.objects.create(
        organisation=sign.owner,
        sign=sign,
        made_at=NOW,
        as_of_on=NOW.date(),
        method_version="for tests",
        fingerprint="",
        basis="cohort",
        end="level",
        fit=fit,
        due_on=date(2031, 1, 1),
        sentence="for tests",
        safety_class=1,
    )


def shown(response, status=200):
    assert response.status_code == status
    return response.content.decode()


def test_a_cohorts_life_is_shown_with_its_bounds_and_what_lies_beyond_the_ages_read(
    engineer, agency
):
    fit_of(agency)
    page = shown(engineer.get(reverse("lives")))
    assert "Type III white" in page
    assert "11.0 to 13.0" in page
    assert page.count('<span class="small">beyond ages read</span>') == 1  # the median alone
    assert ">unusual<" not in page


def test_an_unusual_life_and_a_cohort_without_a_level_say_so(engineer, agency):
    fit_of(agency, median=None)
    fit_of(agency, "brown", life=False)
    page = shown(engineer.get(reverse("lives")))
    assert "over 60" in page
    assert ">unusual<" in page
    assert "none of its signs has a level" in page


def test_published_lives_are_shown_with_their_source_and_none_is_expected(engineer, agency):
    page = shown(engineer.get(reverse("lives")))
    assert "JTRP-2002/22 abstract" in page
    assert "Nothing is set." in page
    assert "from memory" not in page


def test_a_group_of_cohorts_has_an_interval(engineer, agency):
    fit = fit_of(agency)
    for _ in range(2):
        forecast(make_sign(agency), fit)
    page = shown(engineer.get(reverse("lives"), {"sheeting_type": "III", "share_kept": "95"}))
    # 3 % are below at two years, 8 % at three; by the upper bounds 2 % at one, 6 % at two.
    assert "Every 2 years" in page
    assert "97.0 % of the 2 signs" in page
    assert "every 1 year." in page


@pytest.mark.parametrize(
    ("asked", "words", "status"),
    [
        ({"share_kept": "40"}, "50 to 99.9 %", 400),
        ({"share_kept": "most"}, "is not a number", 400),
        ({"share_kept": "95", "color": "brown"}, "no interval to tell", 409),
    ],
)
def test_an_interval_that_cannot_be_told_says_why(engineer, agency, asked, words, status):
    fit_of(agency)
    assert words in shown(engineer.get(reverse("lives"), asked), status)


def life_form(**changes):
    return {
        "end": "level",
        "sheeting_type": "III",
        "color": "white",
        "years": "12",
        "effective_on": "2026-01-01",
        "approved_by": "the engineer",
        "basis": "signs taken down (invented)",
    } | changes


def test_the_engineer_sets_a_life_and_withdraws_it(engineer, agency):
    page = shown(engineer.post(reverse("set-expected-life"), life_form(), follow=True))
    assert "Expected life of Type III white faces: 12 years" in page
    assert "signs taken down (invented)" in page
    page = shown(engineer.post(reverse("set-expected-life"), life_form(years=""), follow=True))
    assert "withdrawn from 2026-01-01" in page
    assert "Nothing is set." in page
    assert ExpectedLife.objects.owned_by(agency).count() == 2


@pytest.mark.parametrize(
    ("changes", "words", "status"),
    [
        ({"basis": ""}, "The life has no basis", 400),
        ({"years": "70"}, "at most 60 years", 400),
        ({"end": "fade", "optics": "beaded"}, "leave the optics out", 400),
        ({"years": ""}, "nothing to withdraw", 409),
    ],
)
def test_a_life_that_cannot_be_is_refused_and_what_was_typed_stays(
    engineer, agency, changes, words, status
):
    page = shown(engineer.post(reverse("set-expected-life"), life_form(**changes)), status)
    assert words in page
    assert 'value="the engineer"' in page
    assert not ExpectedLife.objects.owned_by(agency).exists()


def test_the_page_of_lives_takes_as_many_queries_for_many_cohorts(
    engineer, agency, django_assert_max_num_queries
):
    for color in ("white", "red", "yellow", "green", "blue", "brown"):
        fit_of(agency, color)
        set_expected_life(
            organisation=agency,
            end="fade",
            color=color,
            years=10.0,
            basis="invented",
            approved_by="the engineer",
            effective_on=date(2026, 1, 1),
            now=NOW,
        )
    with django_assert_max_num_queries(24):
        shown(engineer.get(reverse("lives"), {"share_kept": "95"}), 409)


def took_down(agency, reason="damaged"):
    return make_sign(
        agency,
        installed_on=date(2016, 6, 1),
        state=Sign.State.REMOVED,
        removed_on=date(2021, 6, 1),
        removal_reason=reason,
    )


def test_losses_are_shown_by_class_and_road_beside_what_was_published(engineer, agency):
    took_down(agency)
    took_down(agency, "stolen")
    for _ in range(12):
        make_sign(agency, installed_on=date(2016, 6, 1))
    page = shown(engineer.get(reverse("losses")))
    assert "Of 12 signs standing" in page
    assert "1 damaged, 0 knocked down, 1 missing or stolen" in page
    assert "1: Stop, Yield, Do Not Enter, Wrong Way" in page
    assert "TRID 809542 abstract" in page
    assert 'id="share-left-numbers"' in page
    assert "Lost in the year" in page  # the same in figures


def test_without_a_face_on_record_nothing_is_known_of_losses(engineer):
    page = shown(engineer.get(reverse("losses")))
    assert "Nothing is known of losses yet" in page
    assert "2.37" in page


def test_the_page_of_losses_takes_as_many_queries_for_many_faces(
    engineer, agency, django_assert_max_num_queries
):
    for _ in range(15):
        took_down(agency)
    with django_assert_max_num_queries(18):
        shown(engineer.get(reverse("losses")))


@pytest.fixture
def controlled(agency):
    signs = [make_sign(agency, installed_on=date(2010 + k, 6, 1)) for k in range(6)]
    group = create_group(
        organisation=agency,
        name="By control signs",
        method="control_signs",
        started_on=date(2020, 1, 1),
        basis="council decision (invented)",
        interval_months=24,
        now=NOW,
    )
    places = [position_of(sign) for sign in signs]
    assign(group=group, positions=places, from_on=date(2026, 1, 1), now=NOW)
    return group, signs


def test_too_few_control_signs_are_named_and_the_proposed_ones_taken(engineer, controlled):
    group, signs = controlled
    page = shown(engineer.get(reverse("control-signs")))
    assert "Type IX prismatic: 0 control signs for 6 signs" in page
    assert "NCHRP Synthesis 431 p. 12" in page
    proposed = [s for s in signs if f'value="{position_of(s).pk}" checked' in page]
    assert len(proposed) == 3
    assert signs[0] in proposed  # the oldest
    address = reverse("add-control-signs", args=[group.pk])
    taken = {"positions": [position_of(each).pk for each in proposed]}
    page = shown(engineer.post(address, taken, follow=True))
    assert "has 3 control signs" in page
    assert "Measure next" in page
    assert "Take these as well" not in page
    under = MethodAssignment.objects.filter(group=group, until_on=None, is_control_sign=True)
    assert set(under.values_list("position", flat=True)) == set(taken["positions"])


def test_none_ticked_changes_nothing(engineer, controlled):
    group, _signs = controlled
    page = shown(engineer.post(reverse("add-control-signs", args=[group.pk]), follow=True))
    assert "No sign was ticked" in page


def test_what_cannot_be_of_control_signs_is_refused_and_the_rest_shown(engineer, controlled):
    for asked, words in (
        ({"lead_months": "12", "per_sheeting": "2"}, "choose 3"),
        ({"lead_months": "-1", "per_sheeting": "3"}, "0 to 60 months"),
        ({"lead_months": "soon", "per_sheeting": "3"}, "whole months"),
    ):
        page = shown(engineer.get(reverse("control-signs"), asked), 400)
        assert words in page
        assert "By control signs" in page


def test_without_such_a_method_the_way_to_one_is_shown(engineer):
    page = shown(engineer.get(reverse("control-signs")))
    assert reverse("methods") in page
    assert "No signs are kept by control signs" in page


@pytest.mark.parametrize("name", ["lives", "losses", "control-signs"])
def test_the_pages_are_the_engineers(client, agency, name):
    for organisation, role in ((agency, Role.CREW), (make_shop(), Role.SHOP)):
        client.force_login(make_person(organisation, role))
        assert client.get(reverse(name)).status_code == 403


def test_another_agencys_cohorts_and_lives_are_not_shown(engineer):
    other = make_agency()
    fit_of(other)
    page = shown(engineer.get(reverse("lives")))
    assert "Type III white" not in page

"""Preparing the next rules: what would change is shown before they are set."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from inventory.models import AgencyLevel, AgencyPolicy, Role
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.people import policy_at
from inventory.web import rules
from tests.factories import NOW, make_agency, make_sign
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db
NEXT = reverse("next-rules")


@pytest.fixture(autouse=True)
def _on_the_factories_day(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    """Two Stop signs; the first is near its level for white."""
    agency = make_agency(damage_days={"severe": {"1": 1}})
    for white in ("36", "300"):
        record_inspection(
            sign=make_sign(agency),
            taken_at=NOW - timedelta(days=1),
            how="hand_held",
            reading_sets=[
                ReadingSetInput("white", [white] * 4),
                ReadingSetInput("red", ["9"] * 4),
            ],
            now=NOW,
        )
    return agency


GUARDED = {
    "edition": "11th-2023",
    "effective_on": "2026-06-01",
    "decision_rule": "guarded",
    "guard_probability": "0.95",
    "instrument_repeatability_rel": "0.02",
    "instrument_common_rel": "0.04",
    "single_reading_scatter_rel": "0.1",
    "uncertainty_basis": "an invented certificate",
    "due_probability": "0.25",
    "due_soon_months": "18",
    "press_rate_ft2_per_h": "162",
    "basis": "council decision",
}


def test_the_form_starts_from_the_rules_in_force(client, agency):
    act_as(client, agency)
    form = client.get(NEXT).context["form"]
    assert form.initial["decision_rule"] == "simple_acceptance"
    assert form.initial["instrument_common_rel"] == 0.08
    assert "effective_on" not in form.initial


def test_what_would_change_is_shown_and_nothing_is_set(client, agency):
    act_as(client, agency)
    page = client.get(NEXT, GUARDED | {"show": "1"})
    assert page.status_code == 200
    assert [(one.before, one.after) for one in page.context["compared"].changed] == [
        ("meets", "undecided")
    ]
    assert "1 of 2" in page.content.decode()
    assert "Set these rules" in page.content.decode()
    assert AgencyPolicy.objects.count() == 1


def test_setting_them_keeps_the_choices_that_the_form_does_not_ask(client, agency):
    engineer = act_as(client, agency)
    assert client.post(NEXT, GUARDED).status_code == 302
    policy = policy_at(agency, date(2026, 6, 1))
    assert (policy.version, policy.decision_rule) == (2, "guarded")
    assert policy.instrument_common_rel == 0.04
    assert (policy.due_probability, policy.due_soon_months) == (0.25, 18)
    assert policy.damage_days == {"severe": {"1": 1}}
    assert agency.logbook.get(verb="set rules", actor=engineer).text.startswith(
        "Rules version 2"
    )


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"guard_probability": "95"}, "95 % is written 0.95"),
        ({"instrument_common_rel": "much"}, "&#x27;much&#x27; is not a number"),
        ({"uncertainty_basis": ""}, "The instrument figures have no basis"),
        ({"effective_on": "tomorrow"}, "&#x27;tomorrow&#x27; is not a calendar date"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_typed_is_lost(client, agency, typed, sentence):
    act_as(client, agency)
    for page in (
        client.get(NEXT, GUARDED | typed | {"show": "1"}),
        client.post(NEXT, GUARDED | typed),
    ):
        shown = page.content.decode()
        assert page.status_code == 400
        assert sentence in shown
        assert "council decision" in shown
        assert "Set these rules" not in shown
    assert AgencyPolicy.objects.count() == 1


def test_the_signs_that_would_change_are_paged(client, agency, monkeypatch):
    monkeypatch.setattr(rules, "ROWS_PER_PAGE", 1)
    act_as(client, agency)
    asked = GUARDED | {"show": "1", "instrument_common_rel": "0.2"}
    first = client.get(NEXT, asked)
    last = client.get(NEXT, asked | {"page": "2"})
    assert first.context["page"].paginator.count == 2
    assert len(first.context["page"]) == len(last.context["page"]) == 1
    assert "page=2" in first.content.decode()


def test_a_large_agency_is_sent_to_the_command(client, agency, monkeypatch):
    monkeypatch.setattr(rules, "MOST_SIGNS_COMPARED", 1)
    act_as(client, agency)
    page = client.get(NEXT, GUARDED | {"show": "1"}).content.decode()
    assert "--compare" in page
    assert "Set these rules" in page


@pytest.mark.parametrize("role", [Role.CREW])
def test_a_crew_sets_no_rules(client, agency, role):
    act_as(client, agency, role)
    assert client.post(NEXT, GUARDED).status_code == 403
    assert client.post(reverse("set-own-level"), {}).status_code == 403
    assert AgencyPolicy.objects.count() == 1


def test_the_rules_page_says_that_the_shipped_uncertainty_is_an_assumption(client, agency):
    act_as(client, agency)
    page = client.get(reverse("rules")).content.decode()
    assert '<span class="tag unverified">assumption</span>' in page
    assert "common to a session 8 %" in page
    client.post(NEXT, GUARDED)
    page = client.get(reverse("rules")).content.decode()
    assert '<span class="tag unverified">assumption</span>' not in page
    assert "an invented certificate" in page


LEVEL = {
    "background": "fluorescent-yellow-green",
    "legend": "black",
    "color": "fluorescent-yellow-green",
    "minimum": "75",
    "approved_by": "the agency engineer",
    "approved_on": "2026-03-01",
    "effective_on": "2026-04-01",
    "basis": "an invented trial",
}


def test_an_own_level_is_set_shown_and_withdrawn(client, agency):
    act_as(client, agency)
    address = reverse("set-own-level")
    assert client.post(address, LEVEL).status_code == 302
    assert AgencyLevel.objects.get().minimum_ra_cd_lx_m2 == 75
    assert len(client.get(reverse("rules")).context["own_levels"]) == 1
    assert client.post(address, LEVEL | {"minimum": "", "effective_on": "2026-05-01"})
    shown = client.get(reverse("rules"))
    assert shown.context["own_levels"] == ()
    assert "withdrawn" in shown.content.decode()


def test_a_refused_own_level_keeps_what_was_typed(client, agency):
    act_as(client, agency)
    page = client.post(reverse("set-own-level"), LEVEL | {"minimum": "0"})
    assert page.status_code == 400
    assert "it is over 0 and at most 2000" in page.content.decode()
    assert "an invented trial" in page.content.decode()
    assert not AgencyLevel.objects.exists()

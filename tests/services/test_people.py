"""Organisations, people, and rules that succeed one another."""

from datetime import UTC, date, datetime

import pytest
from django.core.management import CommandError, call_command

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import AgencyPolicy, Organisation, Role, ShopCustomer
from inventory.services.people import (
    add_customer,
    add_person,
    create_organisation,
    policy_at,
    set_policy,
)
from tests.factories import NOW, make_agency, make_shop

pytestmark = pytest.mark.django_db


def test_the_rules_in_force_are_those_of_the_day():
    agency = make_agency(edition="2009")
    set_policy(
        agency=agency,
        effective_on=date(2026, 1, 1),
        edition="11th-2023",
        basis="board minute",
        now=NOW,
    )
    assert policy_at(agency, date(2025, 12, 31)).edition == "2009"
    assert policy_at(agency, date(2026, 1, 1)).edition == "11th-2023"
    assert [p.version for p in AgencyPolicy.objects.filter(organisation=agency)] == [2, 1]


def test_an_agency_without_rules_is_told_what_to_do():
    agency = make_agency()
    with pytest.raises(StateConflictError, match="set_policy"):
        policy_at(agency, date(1999, 1, 1))


def test_an_edition_or_a_clause_that_no_table_knows_is_refused():
    agency = make_agency()
    fields = {"agency": agency, "effective_on": date(2026, 1, 1), "basis": "x", "now": NOW}
    with pytest.raises(OutOfRangeError, match="2009, 11th-2023"):
        set_policy(edition="1988", **fields)
    with pytest.raises(OutOfRangeError, match="'parking' is not an exclusion clause"):
        set_policy(edition="2009", excluded_groups=["parking"], **fields)


def test_a_shop_has_no_field_crew():
    with pytest.raises(OutOfRangeError, match="no role 'field crew'"):
        add_person(username="x", password="y", organisation=make_shop(), role=Role.CREW)


def test_only_a_shop_prints_for_an_agency():
    agency = make_agency()
    with pytest.raises(StateConflictError, match="must be a sign shop"):
        add_customer(shop=agency, agency=agency)


def test_the_commands_set_an_agency_and_its_shop_up(monkeypatch):
    monkeypatch.setattr("getpass.getpass", lambda _prompt: "a-long-test-word")
    call_command("add_organisation", "Example County", "--kind", "agency")
    call_command(
        "add_organisation", "Example Shop", "--kind", "shop", "--prints-for", "Example County"
    )
    call_command(
        "set_policy", "--organisation", "Example County", "--edition", "2009",
        "--effective-on", "2020-01-01", "--basis", "board minute",
        "--exclude", "parking-standing-stopping",
    )  # fmt: skip
    call_command(
        "add_person", "kim", "--organisation", "Example County", "--role", "engineer",
        "--first-name", "Kim",
    )  # fmt: skip
    agency = Organisation.objects.get(name="Example County")
    assert policy_at(agency, date(2020, 1, 1)).excluded_groups == ["parking-standing-stopping"]
    assert ShopCustomer.objects.get(agency=agency).organisation.name == "Example Shop"
    member = agency.memberships.get()
    assert (member.user.first_name, member.role) == ("Kim", Role.ENGINEER)
    assert member.user.check_password("a-long-test-word")
    with pytest.raises(CommandError, match="already exists"):
        call_command("add_organisation", "Example County", "--kind", "agency")


def test_the_command_takes_the_agencys_times_for_putting_damage_right():
    agency = make_agency("Example County")
    rules = (
        "set_policy", "--organisation", "Example County", "--edition", "2009",
        "--effective-on", "2020-01-01", "--basis", "board minute",
    )  # fmt: skip
    call_command(*rules, "--damage-days", "severe:1=1", "--damage-days", "moderate:4=30")
    assert policy_at(agency, date(2020, 1, 1)).damage_days == {
        "severe": {"1": 1},
        "moderate": {"4": 30},
    }
    for typed, sentence in (("severe:1=soon", "whole days"), ("slight:1=1", "as a severity")):
        with pytest.raises(CommandError, match=sentence):
            call_command(*rules, "--damage-days", typed)


def test_a_weak_password_is_refused(monkeypatch):
    make_agency("Example County")
    monkeypatch.setattr("getpass.getpass", lambda _prompt: "password")
    with pytest.raises(CommandError, match="too common"):
        call_command(
            "add_person", "kim", "--organisation", "Example County", "--role", "engineer"
        )


def test_an_organisation_goes_by_a_time_zone_that_exists():
    with pytest.raises(OutOfRangeError, match="'Central' is no time zone; use a name such as"):
        create_organisation(
            name="Elsewhere", kind=Organisation.Kind.AGENCY, time_zone="Central"
        )
    here = create_organisation(
        name="Here", kind=Organisation.Kind.AGENCY, time_zone="America/Chicago"
    )
    # 03:00 UTC on 2 June is 22:00 on 1 June in Chicago (UTC-5 in summer).
    late = datetime(2026, 6, 2, 3, 0, tzinfo=UTC)
    assert here.day_of(late) == date(2026, 6, 1)
    assert here.clock_words(late) == "2026-06-01 22:00 CDT"


def test_two_passwords_that_differ_add_nobody(monkeypatch):
    agency = make_agency("Example County")
    typed = iter(["a-long-test-word", "a-long-tset-word"])
    monkeypatch.setattr("getpass.getpass", lambda _prompt: next(typed))
    with pytest.raises(CommandError, match="not the same"):
        call_command(
            "add_person", "kim", "--organisation", "Example County", "--role", "engineer"
        )
    assert not agency.memberships.exists()


def test_a_person_is_not_added_without_a_terminal(monkeypatch):
    make_agency("Example County")

    def no_terminal(_prompt):
        raise EOFError

    monkeypatch.setattr("getpass.getpass", no_terminal)
    with pytest.raises(CommandError, match="no terminal"):
        call_command(
            "add_person", "kim", "--organisation", "Example County", "--role", "engineer"
        )


def test_a_day_written_otherwise_is_refused_with_the_way_to_write_it():
    make_agency("Example County")
    with pytest.raises(CommandError, match="for example 2026-01-31"):
        call_command(
            "set_policy", "--organisation", "Example County", "--edition", "2009",
            "--effective-on", "01.02.2026", "--basis", "x",
        )  # fmt: skip

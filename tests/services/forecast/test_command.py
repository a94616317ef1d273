"""manage.py forecast: what it says, and what it refuses."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from inventory.models import SignForecast
from inventory.services.forecast.runs import begin_run
from tests.factories import NOW, make_agency, make_sign
from tests.services.forecast.fleet import read_fleet

pytestmark = pytest.mark.django_db


def test_the_command_says_what_was_made_and_what_each_due_date_rests_on(capsys):
    agency = make_agency()
    read_fleet(agency, 4)
    make_sign(agency, installed_on=None)
    call_command("forecast", "--organisation", agency.name)
    told = capsys.readouterr().out
    assert "2 cohorts: 2 fitted, 0 unchanged, 0 not read yet" in told
    assert "5 installed signs: 5 forecast again, 0 unchanged; 0 suspect lots." in told
    assert "by its own readings and its cohort: 4" in told
    assert "by nothing to go by: 1" in told
    assert SignForecast.objects.count() == 5
    call_command("forecast", "--organisation", agency.name)
    assert "0 fitted, 2 unchanged" in capsys.readouterr().out
    call_command("forecast", "--organisation", agency.name, "--all")
    assert "2 fitted, 0 unchanged" in capsys.readouterr().out


def test_the_command_is_refused_while_another_round_is_under_way_and_for_nobody():
    agency = make_agency()
    begin_run(organisation=agency, by=None, now=NOW)
    with pytest.raises(CommandError, match="is under way since"):
        call_command("forecast", "--organisation", agency.name)
    with pytest.raises(CommandError):
        call_command("forecast", "--organisation", "Nobody's County")

"""What proposed rules would change is shown, and nothing is stored."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import OutOfRangeError
from inventory.models import AgencyPolicy, Assessment, LogbookEntry, Organisation
from inventory.services.assessment import assess_signs
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.people import create_organisation, set_policy
from inventory.services.policy_comparison import NOT_JUDGED, compare_policy
from tests.factories import NOW, make_agency, make_sign

pytestmark = pytest.mark.django_db

BLUE = (("background", "blue"), ("legend", "white"))
EDITION_11: dict[str, Any] = {
    "effective_on": date(2026, 7, 1),
    "edition": "11th-2023",
    "basis": "council decision",
    "now": NOW,
}


def inspect(sign, **colors: str) -> None:
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=1),
        how="hand_held",
        reading_sets=[ReadingSetInput(color, [value] * 4) for color, value in colors.items()],
        now=NOW,
    )


@pytest.fixture
def agency():
    """Three signs under 2009: a Stop that meets, two blue ones without a binding level."""
    agency = make_agency(edition="2009")
    inspect(make_sign(agency), white="200", red="40")
    dull, bright = (make_sign(agency, sign_code="D9-2", colours=BLUE) for _ in range(2))
    inspect(dull, white="119", blue="6")
    inspect(bright, white="120", blue="7")
    return agency


def test_a_switch_of_edition_shows_which_signs_get_which_other_verdict(agency):
    # Source: MUTCD 11th edition Table 2A-5, white on blue, post: white 120, blue 7; the 2009
    # edition binds nothing there (FHWA memorandum of 5 April 2012).
    compared = compare_policy(agency=agency, **EDITION_11)
    assert compared.signs == 3
    assert compared.counts == {
        ("meets", "meets"): 1,
        ("no level", "below"): 1,
        ("no level", "meets"): 1,
    }
    assert compared.before == {"meets": 1, "no level": 2}
    assert compared.after == {"meets": 2, "below": 1}
    assert [(each.sign_code, each.before, each.after) for each in compared.changed] == [
        ("D9-2", "no level", "below"),
        ("D9-2", "no level", "meets"),
    ]
    assert compared.changed[0].reason == (
        "White 119 is below 120. Blue 6 is below 7. A level this rests on is unverified."
    )


def test_nothing_is_stored_and_setting_them_gives_what_was_shown(agency):
    stored = (
        Assessment.objects.count(),
        AgencyPolicy.objects.count(),
        LogbookEntry.objects.count(),
    )
    compared = compare_policy(agency=agency, **EDITION_11)
    assert stored == (
        Assessment.objects.count(),
        AgencyPolicy.objects.count(),
        LogbookEntry.objects.count(),
    )
    set_policy(agency=agency, **EDITION_11 | {"effective_on": date(2026, 6, 1)})
    assert assess_signs(organisation=agency, now=NOW).verdicts == compared.after


def test_a_guard_turns_only_what_is_near_its_level_into_undecided():
    agency = make_agency()
    near, far = make_sign(agency), make_sign(agency)
    inspect(near, white="36", red="8")
    inspect(far, white="300", red="40")
    compared = compare_policy(agency=agency, decision_rule="guarded", **EDITION_11)
    assert [(each.sign_id, each.after) for each in compared.changed] == [(near.pk, "undecided")]


def test_an_agency_without_rules_sees_what_its_first_ones_would_say():
    agency = create_organisation(name="New County", kind=Organisation.Kind.AGENCY)
    make_sign(agency)
    compared = compare_policy(agency=agency, **EDITION_11)
    assert compared.counts == {(NOT_JUDGED, "no usable reading"): 1}


def test_rules_that_could_not_be_set_are_not_compared(agency):
    with pytest.raises(OutOfRangeError, match="still the shipped assumption"):
        compare_policy(agency=agency, instrument_common_rel=0.01, **EDITION_11)


def test_the_command_shows_the_same_and_stores_nothing(agency, capsys):
    call_command(
        "set_policy",
        f"--organisation={agency.name}",
        "--edition=11th-2023",
        "--effective-on=2026-07-01",
        "--basis=council decision",
        "--compare",
    )
    assert capsys.readouterr().out.splitlines() == [
        "2 of 3 signs would have another verdict; nothing was stored.",
        "  no level → below: 1",
        "  no level → meets: 1",
    ]
    assert AgencyPolicy.objects.count() == 1


def test_the_number_of_queries_does_not_grow_with_the_number_of_signs():
    def queries_for(count: int) -> int:
        agency = make_agency()
        for _ in range(count):
            inspect(make_sign(agency), white="36", red="8")
        with CaptureQueriesContext(connection) as queries:
            compare_policy(agency=agency, decision_rule="guarded", **EDITION_11)
        return len(queries)

    assert queries_for(1) == queries_for(8)

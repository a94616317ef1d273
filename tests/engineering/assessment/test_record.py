"""What is stored of an assessment's inputs."""

from decimal import Decimal

import pytest

from inventory.engineering.assessment.face import Face
from inventory.engineering.assessment.record import facts_of, from_facts
from inventory.engineering.assessment.vocabulary import worst_verdict
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import Series
from inventory.errors import NoPublishedValueError
from tests.engineering.assessment.faces import RULES, catalogued, read


def test_values_keep_the_decimals_that_were_typed():
    facts = facts_of(catalogued("R1-1"), [read("white", "35.00", "35")], RULES)
    assert facts["readings"][0]["values"] == ["35.00", "35"]


def test_what_is_held_against_readings_is_kept_with_them():
    doubted = read("white", "35", doubt="set aside on 2026-06-02: lens dirty")
    facts = facts_of(catalogued("R1-1"), [doubted], RULES)
    assert from_facts(facts)[1] == (doubted,)


def test_a_catalogued_sign_is_named_by_code_an_own_one_is_written_out():
    own = local_sign_type(code="TR-7", name="Trail Head", series=Series.GUIDE)
    assert facts_of(catalogued("R1-1"), [], RULES)["face"]["sign_type"] == {"code": "R1-1"}
    facts = facts_of(Face(own, width_in=Decimal("12.5")), [], RULES)
    assert facts["face"]["sign_type"]["own"]["series"] == "guide"
    assert from_facts(facts)[0] == Face(own, width_in=Decimal("12.5"))


def test_a_code_the_catalogue_lost_is_told():
    facts = facts_of(catalogued("R1-1"), [], RULES)
    facts["face"]["sign_type"]["code"] = "R99-99"
    with pytest.raises(NoPublishedValueError, match="no longer has 'R99-99'"):
        from_facts(facts)


def test_the_worst_of_nothing_is_refused():
    with pytest.raises(ValueError, match="empty"):
        worst_verdict([])

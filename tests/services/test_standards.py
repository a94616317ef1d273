"""An agency's own codes and words, in front of the published catalogue."""

from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inventory.engineering.standards.local import ResolvedVia
from inventory.engineering.standards.vocabulary import Color, Series, Shape, SymbolClass
from inventory.errors import NoPublishedValueError, OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry
from inventory.services.standards import add_code_alias, add_sign_type, code_book
from tests.factories import NOW, make_agency

pytestmark = pytest.mark.django_db


def _branches(agency, **changes):
    fields: dict[str, Any] = {
        "code": "X1-1",
        "name": "Low Branches",
        "series": Series.WARNING,
        "shape": Shape.DIAMOND,
        "background": Color.YELLOW,
        "legend": Color.BLACK,
        "symbol_class": SymbolClass.TEXT,
        "width_in": 30,
        "height_in": 30,
    }
    return add_sign_type(organisation=agency, now=NOW, **fields | changes)


def test_an_agencys_own_sign_type_resolves_with_its_colours():
    agency = make_agency()
    _branches(agency)
    found = code_book(agency).resolve("x1-1")
    assert found.via is ResolvedVia.LOCAL
    assert (found.sign_type.background, found.sign_type.symbol_class) == ("yellow", "text")
    assert LogbookEntry.objects.filter(organisation=agency, verb="add sign type").count() == 1


def test_what_the_agency_leaves_out_stays_unknown():
    agency = make_agency()
    _branches(agency, shape=None, background=None, symbol_class=None, width_in=None)
    sign_type = code_book(agency).resolve("X1-1").sign_type
    assert sign_type.shape is None
    assert sign_type.background is None
    assert sign_type.symbol_class is None


def test_another_agency_does_not_see_the_type():
    agency, other = make_agency(), make_agency()
    _branches(agency)
    with pytest.raises(NoPublishedValueError, match="X1-1"):
        code_book(other).resolve("X1-1")


def test_an_agencys_word_stands_for_a_catalogued_code():
    agency = make_agency()
    add_code_alias(organisation=agency, alias="Stop", code="R1-1", now=NOW)
    found = code_book(agency).resolve("STOP")
    assert (found.sign_type.code, found.via) == ("R1-1", ResolvedVia.ALIAS)


def test_a_word_that_leads_nowhere_is_refused():
    with pytest.raises(NoPublishedValueError, match="Q99-9"):
        add_code_alias(organisation=make_agency(), alias="ODD", code="Q99-9", now=NOW)


def test_the_same_code_or_word_twice_is_refused():
    agency = make_agency()
    _branches(agency)
    with pytest.raises(StateConflictError, match="already has a sign type"):
        _branches(agency, code="x1-1")
    add_code_alias(organisation=agency, alias="Stop", code="R1-1", now=NOW)
    with pytest.raises(StateConflictError, match="already has the alias"):
        add_code_alias(organisation=agency, alias="STOP", code="R1-2", now=NOW)


def test_a_size_that_cannot_be_is_refused():
    with pytest.raises(OutOfRangeError, match="above 0 in"):
        _branches(make_agency(), width_in=-30)


def test_the_commands_add_types_and_words():
    agency = make_agency("Example County")
    call_command(
        "add_sign_type", "X1-1", "Low Branches", "--organisation", "Example County",
        "--series", "warning", "--size", "30x24",
    )  # fmt: skip
    call_command("add_code_alias", "STOP", "R1-1", "--organisation", "Example County")
    book = code_book(agency)
    size = book.resolve("X1-1").sign_type.conventional
    assert size is not None
    assert size.height_in == 24
    assert book.resolve("STOP").sign_type.code == "R1-1"
    with pytest.raises(CommandError, match="is not a size"):
        call_command(
            "add_sign_type", "X1-2", "Odd", "--organisation", "Example County",
            "--series", "warning", "--size", "large",
        )  # fmt: skip
    with pytest.raises(CommandError, match="no organisation 'Nowhere'"):
        call_command("add_code_alias", "YIELD", "R1-2", "--organisation", "Nowhere")

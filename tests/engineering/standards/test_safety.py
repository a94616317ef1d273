"""
The order in which signs are looked after.

Ranking of the Cornell Local Roads Program, "What signs should we replace first?": regulatory
first, Stop and Yield above all; critical warning; other warning; guide last. Do Not Enter and
Wrong Way in the first class: usual practice, from memory.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.catalogue import find_sign_type, sign_types
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.safety import safety_class
from inventory.engineering.standards.vocabulary import Checked, Series


def of(code):
    return safety_class(find_sign_type(code)[0])


def test_stop_yield_do_not_enter_and_wrong_way_alone_come_first():
    first = {each.code for each in sign_types() if safety_class(each).number == 1}
    assert first == {"R1-1", "R1-2", "R5-1", "R5-1a"}
    assert of("R1-1").checked is of("R1-2").checked is Checked.YES
    assert of("R5-1").checked is of("R5-1a").checked is Checked.NO


@pytest.mark.parametrize(
    ("code", "number", "checked"),
    [
        ("R2-1", 2, Checked.YES),
        ("R1-3P", 2, Checked.YES),
        ("W1-2", 2, Checked.PARTIAL),
        ("W1-8", 2, Checked.NO),
        ("W2-1", 2, Checked.PARTIAL),
        ("W3-1", 2, Checked.NO),
        ("W10-1", 2, Checked.NO),
        ("S1-1", 2, Checked.NO),
        ("W8-1", 3, Checked.YES),
        ("W11-2", 3, Checked.YES),
        ("OM3-L", 3, Checked.NO),
        ("D1-1", 4, Checked.YES),
        ("RS-006", 4, Checked.YES),
        ("M1-1", 4, Checked.YES),
    ],
)
def test_the_class_of_a_code_and_how_sure_it_is(code, number, checked):
    found = of(code)
    assert (found.number, found.checked) == (number, checked)


def test_a_sign_of_the_agencys_own_goes_by_its_series_whatever_its_code():
    def own(series):
        return safety_class(local_sign_type(code="R1-1", name="Invented", series=series)).number

    assert own(Series.REGULATORY) == 2
    assert own(Series.SCHOOL) == 2
    assert own(Series.WARNING) == 3
    assert own(Series.GUIDE) == 4


@given(st.sampled_from(sign_types()))
def test_every_sign_has_a_class_with_a_reason_and_a_source(sign_type):
    found = safety_class(sign_type)
    assert 1 <= found.number <= 4
    assert found.reason
    assert found.source

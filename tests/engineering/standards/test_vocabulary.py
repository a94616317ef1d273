"""The words of the tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    Edition,
    RoadClass,
    SheetingClass,
    SignColors,
    weakest,
)
from inventory.errors import OutOfRangeError

marks = st.sampled_from(Checked)


def test_anything_but_yes_is_shown_as_unverified():
    assert Checked.YES.is_verified
    for mark in (Checked.PARTIAL, Checked.NO):
        assert not mark.is_verified
        assert mark.words.startswith("unverified")


@given(marks, marks, marks)
def test_what_rests_on_several_marks_is_no_surer_than_the_weakest(a, b, c):
    assert weakest(a, b, c) is weakest(weakest(a, b), c) is weakest(c, b, a)
    assert weakest(a, Checked.NO) is Checked.NO
    assert weakest(a, Checked.YES) is a


def test_nothing_has_no_mark():
    with pytest.raises(OutOfRangeError, match="No mark was given"):
        weakest()


def test_the_recommendation_belongs_to_the_2009_manual():
    assert Edition.MUTCD_2009_RECOMMENDED.manual is Edition.MUTCD_2009
    assert Edition.MUTCD_11.manual is Edition.MUTCD_11


@pytest.mark.parametrize(
    "kind", [Checked, Color, Edition, RoadClass, SheetingClass, SignColors]
)
def test_every_word_has_a_form_a_sentence_can_use(kind):
    forms = [each.words for each in kind]
    assert all(forms)
    assert len(set(forms)) == len(forms)

"""Which columns a sheeting may fall under; columns as the level tables print them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.sheeting import (
    find_sheeting_type,
    read_sheeting_type,
    sheeting_classes,
)
from inventory.engineering.standards.vocabulary import (
    Checked,
    Optics,
    SheetingClass,
    SheetingType,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError

I, II, III, PRISMATIC = SheetingClass  # noqa: E741 - the columns as printed


# Column heads of MUTCD 11th edition Table 2A-5: beaded I, II, III, and prismatic. That Types IV
# and above are prismatic is from memory, and their rows say so.
@pytest.mark.parametrize(
    ("sheeting_type", "optics", "expected"),
    [
        ("I", Optics.UNKNOWN, (I,)),
        ("I", Optics.BEADED, (I,)),
        ("II", Optics.UNKNOWN, (II,)),
        ("III", Optics.BEADED, (III,)),
        ("III", Optics.PRISMATIC, (PRISMATIC,)),
        ("III", Optics.UNKNOWN, (III, PRISMATIC)),
        ("IV", Optics.UNKNOWN, (PRISMATIC,)),
        ("XI", Optics.PRISMATIC, (PRISMATIC,)),
        (None, Optics.PRISMATIC, (PRISMATIC,)),
        (None, Optics.BEADED, (I, II, III)),
        (None, Optics.UNKNOWN, (I, II, III, PRISMATIC)),
    ],
)
def test_a_sheeting_falls_under_every_column_it_could(sheeting_type, optics, expected):
    assert sheeting_classes(sheeting_type, optics) == expected


@pytest.mark.parametrize(
    ("sheeting_type", "optics"), [("I", Optics.PRISMATIC), ("IX", Optics.BEADED)]
)
def test_a_type_the_tables_do_not_have_with_those_optics_is_said(sheeting_type, optics):
    with pytest.raises(NoPublishedValueError, match="check the type and the optics"):
        sheeting_classes(sheeting_type, optics)


@pytest.mark.parametrize("text", ["XII", "0", "", "3", "high intensity", "IIII"])
def test_an_unknown_type_is_refused_with_the_types_there_are(text):
    with pytest.raises(OutOfRangeError, match="use one of I, II, III"):
        sheeting_classes(text, Optics.UNKNOWN)


@given(st.sampled_from(SheetingType), st.sampled_from(["{}", " {} ", "Type {}", "type  {}"]))
def test_a_type_is_read_however_it_is_written(sheeting_type, form):
    for text in (form.format(sheeting_type), form.format(sheeting_type.lower())):
        assert read_sheeting_type(text) is sheeting_type


@given(st.sampled_from([None, *SheetingType]), st.sampled_from(Optics))
def test_columns_are_never_silently_missing_and_less_knowledge_never_hides_one(
    sheeting_type, optics
):
    everything = sheeting_classes(sheeting_type, Optics.UNKNOWN)
    try:
        classes = sheeting_classes(sheeting_type, optics)
    except NoPublishedValueError:
        assert sheeting_type is not None
        assert optics is not Optics.UNKNOWN
        return
    assert classes
    assert set(classes) <= set(everything) <= set(sheeting_classes(None, Optics.UNKNOWN))


def test_that_a_type_counts_as_prismatic_is_marked_as_from_memory():
    marks = {each: find_sheeting_type(each).checked for each in SheetingType}
    assert marks.pop(SheetingType.I) is marks.pop(SheetingType.II) is Checked.YES
    assert marks.pop(SheetingType.III) is Checked.PARTIAL
    assert set(marks.values()) == {Checked.NO}

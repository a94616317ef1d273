"""Numbers and directions as lists write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import OutOfRangeError
from inventory.interchange.facings import Convention, read_facing
from inventory.interchange.texts import NumberFormat


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1016124.752", 1016124.752),
        ("1,016,124.752", 1016124.752),
        ("1,016,124", 1016124.0),
        (" -88.25 ", -88.25),
        ("1.5e3", 1500.0),
    ],
)
def test_numbers_are_read_without_being_told_how(text, value):
    assert NumberFormat().read(text) == value


@pytest.mark.parametrize("text", ["", "abc", "12 ft", "1,23", "43,125", "--5", "nan", "inf"])
def test_what_is_no_number_or_could_be_two_is_refused(text):
    with pytest.raises(OutOfRangeError):
        NumberFormat().read(text)


def test_decimal_commas_are_read_when_the_mapping_says_so():
    comma = NumberFormat(decimal=",", thousands=".")
    assert comma.read("1.016.124,5") == 1016124.5
    with pytest.raises(OutOfRangeError, match="decimal mark"):
        NumberFormat(decimal=",").read("43.5")


@given(st.floats(min_value=-1e7, max_value=1e7))
def test_a_number_written_with_thousands_is_the_same_number(value):
    text = f"{value:,.3f}"
    assert NumberFormat().read(text) == pytest.approx(round(value, 3), abs=1e-3)


@pytest.mark.parametrize(
    ("text", "convention", "facing"),
    [
        ("N", "front", 0),
        ("sw", "front", 225),
        ("North East", "front", 45),
        ("south-west", "front", 225),
        ("270", "front", 270),
        ("360", "front", 0),
        ("45°", "front", 45),
        # A sign read by northbound traffic looks south (common practice, no source).
        ("NB", "traffic", 180),
        ("Northbound", "traffic", 180),
        ("E/B", "traffic", 270),
        ("N", "traffic", 180),
        ("90", "traffic", 270),
    ],
)
def test_directions_come_to_the_way_the_front_looks(text, convention, facing):
    assert read_facing(text, Convention(convention)) == facing


@pytest.mark.parametrize("text", ["both", "361", "-1", "NN", "median"])
def test_what_is_no_direction_is_refused(text):
    with pytest.raises(OutOfRangeError):
        read_facing(text, Convention.FRONT)


def test_a_word_of_travel_under_the_other_convention_is_refused():
    with pytest.raises(OutOfRangeError, match='convention = "traffic"'):
        read_facing("NB", Convention.FRONT)


@given(st.floats(min_value=0, max_value=360))
def test_the_two_conventions_are_opposite(bearing):
    front = read_facing(f"{bearing:.4f}", Convention.FRONT)
    traffic = read_facing(f"{bearing:.4f}", Convention.TRAFFIC)
    assert (front - traffic) % 360 == pytest.approx(180)

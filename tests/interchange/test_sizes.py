"""Size texts, as lists write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import OutOfRangeError
from inventory.interchange.sizes import (
    INCHES_PER_UNIT,
    MAXIMUM_DIMENSION_IN,
    SizeOrder,
    read_length_in,
    read_sizes_in,
)


@pytest.mark.parametrize(
    ("text", "sizes"),
    [
        # The first two are the texts of the task itself.
        ('12" X 18"', [(12, 18)]),
        ('6" X 30"/ 6" X 30"', [(6, 30), (6, 30)]),
        ("30x30", [(30, 30)]),
        ("30 X 36", [(30, 36)]),
        ("30 x 30 in", [(30, 30)]),
        ("30in. x 36in.", [(30, 36)]),
        ("2'-6\" x 2'", [(30, 24)]),
        ("2' 6\" by 2 ft", [(30, 24)]),
        ('7 1/2" x 10"', [(7.5, 10)]),
        ("7-1/2 x 10", [(7.5, 10)]),
        ("12.5 × 18", [(12.5, 18)]),
        ("30” x 36”", [(30, 36)]),
        ("18W x 24H", [(18, 24)]),
        ('24"H x 18"W', [(18, 24)]),
        ("6x30 & 6x36", [(6, 30), (6, 36)]),
        ("0 x 12", [(None, 12)]),
        ("0x0", [(None, None)]),
    ],
)
def test_sizes_are_read_as_they_are_meant(text, sizes):
    assert read_sizes_in(text, "in") == sizes


def test_a_triangle_may_be_named_by_its_three_sides():
    # MUTCD 11th edition, Table 2B-1 prints R1-2 as 36 x 36 x 36.
    assert read_sizes_in("36 x 36 x 36", "in") == [(36, 36)]


def test_metric_sizes_become_inches():
    # 25.4 mm to the inch, exact: NIST SP 811, appendix B.8.
    assert read_sizes_in("762 x 914.4 mm", "in") == [(30, 36)]
    assert read_sizes_in("76.2x76.2", "cm") == [(30, 30)]
    assert read_length_in("3", "ft") == 36


def test_the_order_of_a_list_is_kept():
    assert read_sizes_in("18 x 12", "in", SizeOrder.HEIGHT_FIRST) == [(12, 18)]
    assert read_sizes_in("18H x 12W", "in", SizeOrder.WIDTH_FIRST) == [(12, 18)]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "30",
        "24/30",
        "large",
        "30 x",
        "x 30",
        "30 x 30 x 36",
        "2' x 18",
        "1/0 x 3",
        "9W x 9W",
    ],
)
def test_what_is_no_size_or_could_be_two_is_refused_with_its_text(text):
    with pytest.raises(OutOfRangeError) as caught:
        read_sizes_in(text, "in")
    assert f"'{text}'" in str(caught.value)


def test_a_sign_is_at_most_a_hundred_feet():
    assert read_sizes_in("100' x 10'", "in") == [(1200, 120)]
    with pytest.raises(OutOfRangeError, match="at most 1200 in"):
        read_sizes_in("100.1' x 10'", "in")


dimensions = st.integers(min_value=1, max_value=int(MAXIMUM_DIMENSION_IN * 8)).map(
    lambda eighths: eighths / 8
)


def as_written(value: float, style: str) -> str:
    """Write a length in inches the way lists do."""
    if style == "fraction" and value % 1:
        whole, rest = divmod(value, 1)
        fraction = f"{int(rest * 8)}/8"
        return f'{int(whole)} {fraction}"' if whole else f'{fraction}"'
    if style == "feet" and value == int(value):
        feet, inches = divmod(int(value), 12)
        return f"{feet}'-{inches}\""
    return f'{value!r}"'


@given(
    st.lists(st.tuples(dimensions, dimensions), min_size=1, max_size=3),
    st.sampled_from(["plain", "fraction", "feet"]),
    st.sampled_from(["x", " X ", " × ", " by "]),
    st.sampled_from(["/", " / ", "/ ", " & "]),
)
def test_a_size_survives_being_written_and_read(sizes, style, cross, between):
    text = between.join(
        cross.join(as_written(value, style) for value in pair) for pair in sizes
    )
    assert read_sizes_in(text, "mm") == sizes


@given(dimensions, dimensions, st.sampled_from(sorted(INCHES_PER_UNIT)))
def test_a_size_means_the_same_in_every_unit(width, height, unit):
    scale = INCHES_PER_UNIT[unit]
    [(read_width, read_height)] = read_sizes_in(
        f"{width / scale:.9f} x {height / scale:.9f}", unit
    )
    # Sizes are kept to a ten-thousandth of an inch.
    assert read_width == pytest.approx(width, abs=1e-4)
    assert read_height == pytest.approx(height, abs=1e-4)

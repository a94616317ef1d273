"""
What printing takes.

Check value: 48 ft² at 162 ft²/h take 17.8 min (common practice, no source). The square foot is
0.09290304 m² exactly (NIST SP 811, appendix B.8; from memory). The rest is arithmetic.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.ordering.estimate import FaceToPrint, SpotChannel, estimate_run
from inventory.errors import OutOfRangeError

M2 = 0.09290304  # in a square foot


def faces(count, area=4.0, colors=("red",), box=None):
    return [
        FaceToPrint(key=n, area_ft2=area, box_ft2=box or area, printed_colors=colors)
        for n in range(1, count + 1)
    ]


def channel(name="1", color="red", ml=10.0, share=0.5, left=100.0):
    return SpotChannel(name=name, color=color, ml_per_m2=ml, cover_share=share, left_ml=left)


def test_time_is_area_over_rate_and_set_up():
    told = estimate_run(faces(12), [], rate_ft2_per_h=162, setup_minutes=None)
    assert round(told.minutes, 1) == 17.8
    assert told.setup_minutes is None
    told = estimate_run(faces(12), [], rate_ft2_per_h=162, setup_minutes=15)
    assert told.minutes == pytest.approx(48 / 162 * 60 + 15)
    # What passes under the press is the rectangle, what takes ink the shape.
    round_ones = faces(12, area=math.pi, box=4.0)
    told = estimate_run(round_ones, [channel()], rate_ft2_per_h=162, setup_minutes=0)
    assert told.box_ft2 == 48
    assert told.inks[0].needed_ml == pytest.approx(12 * math.pi * M2 * 10 * 0.5)


def test_ink_runs_out_at_the_face_during_which_it_is_used_up():
    per_face = 4 * M2 * 10 * 0.5
    for left, at in (
        (per_face * 12.001, None),
        (per_face * 11.999, 12),
        (per_face * 2.5, 3),
        (0.0, 1),
        (None, None),
    ):
        told = estimate_run(
            faces(12), [channel(left=left)], rate_ft2_per_h=162, setup_minutes=None
        )
        assert told.inks[0].runs_out_at == at, left


def test_two_channels_of_one_colour_share_it():
    two = [channel("1", left=3.0), channel("2", ml=14.0, share=None, left=4.0)]
    (ink,) = estimate_run(faces(5), two, rate_ft2_per_h=162, setup_minutes=None).inks
    assert ink.channels == ("1", "2")
    assert ink.needed_ml == pytest.approx(5 * 4 * M2 * (10 * 0.5 + 14 * 1.0) / 2)
    assert ink.left_ml == 7.0
    assert ink.is_at_most  # for the second one says no share


def test_what_is_not_known_is_said_and_not_counted_as_nothing():
    (mixed,) = estimate_run(faces(3), [], rate_ft2_per_h=162, setup_minutes=None).inks
    assert mixed.needed_ml is None
    assert "mixed of process inks" in mixed.why
    bare = [channel(ml=None)]
    (ink,) = estimate_run(faces(3), bare, rate_ft2_per_h=162, setup_minutes=None).inks
    assert (ink.needed_ml, ink.left_ml) == (None, 100.0)
    assert "not measured" in ink.why
    assert (
        estimate_run(faces(3, colors=()), bare, rate_ft2_per_h=162, setup_minutes=None).inks
        == ()
    )


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"faces": []}, "no face"),
        ({"faces": faces(1, area=5.0, box=4.0)}, "no more than that"),
        ({"setup_minutes": -1}, "-1 min"),
        ({"rate_ft2_per_h": 0}, "prints nothing"),
    ],
)
def test_what_cannot_be_is_refused(asked, sentence):
    given_ = {"faces": faces(1), "rate_ft2_per_h": 162, "setup_minutes": None} | asked
    with pytest.raises(OutOfRangeError, match=sentence):
        estimate_run(given_.pop("faces"), [], **given_)


@given(
    quarters=st.lists(st.integers(1, 40), min_size=1, max_size=30),
    ml=st.integers(1, 30),
    left=st.integers(0, 200),
)
def test_the_face_it_runs_out_at_is_the_first_beyond_what_is_left(quarters, ml, left):
    asked = [
        FaceToPrint(key=n, area_ft2=q / 4, box_ft2=q / 4, printed_colors=("red",))
        for n, q in enumerate(quarters, start=1)
    ]
    (ink,) = estimate_run(
        asked,
        [channel(ml=float(ml), share=1.0, left=float(left))],
        rate_ft2_per_h=162,
        setup_minutes=None,
    ).inks
    used, expected = Fraction(0), None
    for n, quarter in enumerate(quarters, start=1):
        used += Fraction(quarter, 4) * Fraction("0.09290304") * ml
        if expected is None and used > left:
            expected = n
    assert ink.needed_ml == pytest.approx(float(used))
    if abs(float(used) - left) > 1e-6:
        assert ink.runs_out_at == expected

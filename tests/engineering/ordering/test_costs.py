"""
What the material of a job costs.

Thickness: Iowa DOT Standard Specification 4186.02 (2009), 0.080 in up to 36 in on the longest
side, else 0.125 in. The rest is arithmetic, reckoned by hand in the comments; prices invented.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.ordering.costs import (
    BlankAsked,
    Prices,
    SheetingTaken,
    ThicknessStep,
    material_costs,
    thickness_for,
)
from inventory.engineering.ordering.estimate import FilmStretch, overlay_needed
from inventory.engineering.standards.substrate import published_thicknesses
from inventory.errors import OutOfRangeError

D = Decimal
IOWA = [
    ThicknessStep(up_to_in=row.up_to_in, thickness_in=row.thickness_in)
    for row in published_thicknesses()
]
PRICES = Prices(
    sheeting={("XI", ""): D("4.25"), ("XI", "white"): D("4.00")},
    overlay_ft2=D("0.875"),
    blank_ft2={D("0.080"): D("3.10"), D("0.125"): D("4.60")},
    blank_each={(D("0.080"), D(30), D(30)): D("18.25")},
)


def taken(color="white", taken_ft2="36.25", waste_ft2="17.50"):
    return SheetingTaken(
        sheeting_type="XI", color=color, taken_ft2=D(taken_ft2), waste_ft2=D(waste_ft2)
    )


def costs(sheeting=(), overlay_ft2=None, blanks=(), steps=IOWA, prices=PRICES):
    return material_costs(
        sheeting, overlay_ft2=overlay_ft2, blanks=blanks, steps=steps, prices=prices
    )


def test_a_job_reckoned_by_hand():
    # 108.75 in of a 48 in roll: 36.25 ft² × 4.00 = 145.00; faces 3 × 6.25 = 18.75 ft², so that
    # 17.50 ft² are waste, 70.00. Film of the same size: 36.25 × 0.875 = 31.71875 → 31.72.
    # Three blanks of 30 in at 18.25 each = 54.75; one of 24 × 48 in is 8 ft² of 0.125 in at
    # 4.60 = 36.80; one of 24 × 30 in is 5 ft² of 0.080 in at 3.10 = 15.50.
    # Together 145.00 + 31.72 + 54.75 + 36.80 + 15.50 = 283.77.
    told = costs(
        [taken()],
        overlay_ft2=D("36.25"),
        blanks=[
            *[BlankAsked(width_in=D(30), height_in=D(30))] * 3,
            BlankAsked(width_in=D(48), height_in=D(24)),
            BlankAsked(width_in=D(24), height_in=D(30)),
        ],
    )
    (white,) = told.sheeting
    assert (white.money, white.waste_money) == (D("145.00"), D("70.00"))
    assert told.overlay is not None
    assert told.overlay.money == D("31.72")
    assert [
        (str(each.long_in), each.count, each.is_each, str(each.money)) for each in told.blanks
    ] == [
        ("30", 1, False, "15.50"),
        ("30", 3, True, "54.75"),
        ("48", 1, False, "36.80"),
    ]
    # 0.080 in: 3 × 6.25 + 5 = 23.75 ft².
    assert told.thicknesses == ((D("0.080"), 4, D("23.75")), (D("0.125"), 1, D(8)))
    assert (told.total, told.is_at_least) == (D("283.77"), False)


def test_a_colour_with_its_own_price_goes_before_every_other():
    told = costs([taken("white"), taken("yellow"), taken("white")])
    assert [str(each.price) for each in told.sheeting] == ["4.00", "4.25", "4.00"]


def test_a_half_of_a_hundredth_goes_up_and_nothing_is_lost_in_binary():
    third = Prices(sheeting={("XI", ""): D("0.005")})
    assert costs([taken(taken_ft2="1", waste_ft2="0")], prices=third).total == D("0.01")
    # Ten times 0.10 is 1.00, which it is not in binary fractions.
    dime = Prices(sheeting={("XI", ""): D("0.10")})
    ten = [taken(taken_ft2="1", waste_ft2="0")] * 10
    assert str(costs(ten, prices=dime).total) == "1.00"


def test_what_is_not_entered_is_said_and_not_counted_as_nothing():
    told = costs(
        [taken()],
        overlay_ft2=D(1),
        blanks=[BlankAsked(width_in=D(30), height_in=D(30))],
        prices=Prices(),
    )
    assert told.sheeting[0].money is None
    assert told.overlay is not None
    assert told.overlay.money is None
    assert told.blanks[0].money is None
    assert (told.is_any_known, told.is_at_least) == (False, True)
    # A film that is not known is not in the sum; a price of 0 is a price.
    free = Prices(sheeting={("XI", ""): D(0)})
    told = costs([taken()], prices=free)
    assert (told.overlay, told.total, told.is_any_known) == (None, D("0.00"), True)
    assert told.is_at_least
    # Without a rule no thickness is told, and no price of one.
    (blank,) = costs(blanks=[BlankAsked(width_in=D(30), height_in=D(30))], steps=[]).blanks
    assert (blank.thickness_in, blank.price, blank.money) == (None, None, None)


@pytest.mark.parametrize(
    ("longest", "thickness"),
    [("0.1", "0.080"), ("36", "0.080"), ("36.001", "0.125"), ("240", "0.125")],
)
def test_the_thickness_of_a_blank_is_that_of_its_longest_side(longest, thickness):
    assert thickness_for(D(longest), IOWA) == D(thickness)
    assert thickness_for(D(longest), reversed(IOWA)) == D(thickness)


def test_beyond_the_last_row_no_thickness_is_known():
    assert thickness_for(D("36.1"), IOWA[:1]) is None
    assert thickness_for(D(30), []) is None
    with pytest.raises(OutOfRangeError, match="longest side of 0 in"):
        thickness_for(D(0), IOWA)


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"sheeting": [taken(waste_ft2="36.26")]}, "no more than the 36.25 ft²"),
        ({"sheeting": [taken(taken_ft2="-1")]}, "-1 ft² of sheeting"),
        ({"overlay_ft2": D("-0.1")}, "-0.1 ft² of overlay film"),
        ({"blanks": [BlankAsked(width_in=D(0), height_in=D(9))]}, "over 0 each"),
    ],
)
def test_what_cannot_be_is_refused(asked, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        costs(**asked)


def loads():
    # 108.75 in and 72 in: 15.0625 ft. Faces end at 36.125, 66.375, 96.625; 108.75 + 36.125.
    first = FilmStretch(taken_in=108.75, ends_in=((1, 36.125), (2, 66.375), (3, 96.625)))
    return [first, FilmStretch(taken_in=72.0, ends_in=((4, 36.125),))]


@pytest.mark.parametrize(
    ("left_ft", "face"),
    [
        (None, None),
        (0.0, 1),
        (66.375 / 12, 3),  # as far as face 2 ends: whole
        (66.37 / 12, 2),
        (9.0, 4),  # the first load's tail is short too; the next face is 4
        (144.875 / 12, None),  # only the tail of the second load is not covered
        (144.87 / 12, 4),
        (15.0625, None),
    ],
)
def test_film_runs_out_at_the_first_face_it_does_not_cover_whole(left_ft, face):
    told = overlay_needed(loads(), left_ft=left_ft)
    assert told.needed_ft == 15.0625
    assert told.runs_out_at == face


def test_film_that_cannot_be_is_refused():
    with pytest.raises(OutOfRangeError, match="-1 ft left"):
        overlay_needed(loads(), left_ft=-1)
    with pytest.raises(OutOfRangeError, match="Face 1 ends at 80 in of a load of 72 in"):
        overlay_needed([FilmStretch(taken_in=72, ends_in=((1, 80),))], left_ft=None)


cents = st.integers(0, 100_000)


@given(rows=st.lists(st.tuples(cents, cents), min_size=1, max_size=6), price=cents)
def test_money_is_the_exact_product_to_half_a_hundredth(rows, price):
    sheeting = [
        taken(taken_ft2=D(most) / 100, waste_ft2=D(least) / 100)
        for least, most in (sorted(row) for row in rows)
    ]
    told = costs(sheeting, prices=Prices(sheeting={("XI", ""): D(price) / 100}))
    for each, row in zip(told.sheeting, rows, strict=True):
        exact = Fraction(max(row), 100) * Fraction(price, 100)
        assert each.money is not None
        assert each.waste_money is not None
        assert abs(Fraction(each.money) - exact) <= Fraction(1, 200)
        assert each.waste_money <= each.money
    assert told.total == sum(each.money or 0 for each in told.sheeting)

"""What fits, and in what order faces in stock are used. Common practice, no source."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.ordering.stock import (
    StockFace,
    WantedFace,
    cover_from_stock,
    first_made_first,
    fits,
    fitting,
    wording_varies,
)
from inventory.engineering.standards.catalogue import find_sign_type
from inventory.engineering.standards.vocabulary import Color, Optics

XI = ("XI", Optics.PRISMATIC)
FIRST = date(2026, 1, 1)


def wanted(**fields: Any) -> WantedFace:
    """A Stop of Type XI, 30 in, unless told otherwise."""
    values: dict[str, Any] = {
        "code": "R1-1",
        "variant": "",
        "legend_text": "",
        "is_custom_legend": False,
        "wording_varies": False,
        "width_in": 30.0,
        "height_in": 30.0,
        "sheeting_types": frozenset({XI}),
        "background": Color.RED,
    } | fields
    return WantedFace(**values)


def face(key: int = 1, **fields: Any) -> StockFace:
    values: dict[str, Any] = {
        "key": key,
        "code": "R1-1",
        "variant": "",
        "legend_text": "",
        "width_in": 30.0,
        "height_in": 30.0,
        "sheeting_type": "XI",
        "optics": Optics.PRISMATIC,
        "background": Color.RED,
        "made_on": FIRST,
    } | fields
    return StockFace(**values)


def test_the_same_face_fits():
    assert fits(wanted(), face())
    assert fits(wanted(), face(width_in=30.004))
    assert fits(wanted(code="W1-2", variant="R"), face(code="w1-2r"))


@pytest.mark.parametrize(
    "other",
    [
        {"code": "R1-2"},
        {"variant": "L"},
        {"width_in": 36.0},
        {"height_in": 29.98},
        {"sheeting_type": "IX"},
        {"optics": Optics.BEADED},
        {"background": Color.YELLOW},
    ],
)
def test_another_face_does_not_fit(other):
    assert not fits(wanted(), face(**other))


@pytest.mark.parametrize(
    "unknown",
    [
        {"code": ""},
        {"width_in": None},
        {"height_in": None},
        {"sheeting_type": ""},
        {"optics": Optics.UNKNOWN},
        {"background": None},
    ],
)
def test_what_is_not_known_of_a_face_never_fits(unknown):
    assert not fits(wanted(), face(**unknown))
    assert not fits(wanted(background=None), face(background=None))


@pytest.mark.parametrize(
    ("asked", "reads", "varies", "is_custom", "is_same"),
    [
        ("SPEED LIMIT 35", "Speed Limit 35 ", True, False, True),
        ("SPEED LIMIT 35", "SPEED LIMIT 50", True, False, False),
        ("SPEED LIMIT 35", "", True, False, False),
        ("", "SPEED LIMIT 35", True, False, False),
        ("", "", True, False, False),
        ("", "STOP", False, False, True),
        ("", "", False, False, True),
        ("Elm St", "Elm St", True, True, True),
        ("Elm St", "ELM ST", True, True, False),
        ("", "", False, True, False),
    ],
)
def test_the_wording_is_the_same_as_far_as_it_can_be_another(
    asked, reads, varies, is_custom, is_same
):
    wish = wanted(legend_text=asked, wording_varies=varies, is_custom_legend=is_custom)
    assert fits(wish, face(legend_text=reads)) is is_same


@pytest.mark.parametrize(
    ("code", "varies"),
    [
        ("R1-1", False),
        ("W1-2", False),
        ("R2-1", True),
        ("W13-1P", True),
        ("D3-1", True),
        ("W16-2P", True),
        ("R12-1", True),
        ("W11-2", False),
    ],
)
def test_codes_that_read_differently_from_place_to_place(code, varies):
    assert wording_varies(find_sign_type(code)[0]) is varies


def test_first_made_first_and_of_an_unknown_day_last():
    old, new, unknown = face(3), face(2, made_on=FIRST + timedelta(1)), face(1, made_on=None)
    assert first_made_first([unknown, new, old]) == [old, new, unknown]


def test_a_face_kept_for_a_place_is_for_no_other_and_comes_first_there():
    kept, free = face(2, kept_for=7, made_on=FIRST + timedelta(9)), face(1)
    assert fitting(wanted(), [free, kept], 7) == [kept, free]
    assert fitting(wanted(), [free, kept], 8) == [free]
    assert fitting(wanted(), [free, kept]) == [free]


# --- any stock, any wishes

WISHES = st.builds(
    lambda code, types: wanted(code=code, sheeting_types=frozenset(types)),
    st.sampled_from(["R1-1", "R1-2"]),
    st.sets(st.sampled_from([XI, ("IX", Optics.PRISMATIC)]), min_size=1),
)
FACES = st.lists(
    st.builds(
        lambda code, kind, day, kept: face(
            code=code,
            sheeting_type=kind,
            made_on=None if day is None else FIRST + timedelta(day),
            kept_for=kept,
        ),
        st.sampled_from(["R1-1", "R1-2"]),
        st.sampled_from(["XI", "IX"]),
        st.none() | st.integers(0, 5),
        st.none() | st.integers(0, 8),
    ),
    max_size=12,
).map(lambda found: [face_with_key(each, key) for key, each in enumerate(found)])


def face_with_key(each: StockFace, key: int) -> StockFace:
    return StockFace(**{f: getattr(each, f) for f in each.__slots__} | {"key": key})


@given(st.lists(WISHES, max_size=9), FACES)
@settings(max_examples=150, derandomize=True)
def test_no_face_is_used_twice_and_none_is_left_that_was_made_before(wishes, faces):
    asked = [(number, number, wish) for number, wish in enumerate(wishes)]
    covered = cover_from_stock(asked, faces)
    used = [each.key for each in covered.values()]
    assert len(used) == len(set(used))
    taken: set[int] = set()
    for number, position, wish in asked:
        own = covered.get(number)
        left = [each for each in faces if each.key not in taken]
        # The plain way: look through all that is left, for each place anew.
        expected = next(iter(fitting(wish, left, position)), None)
        assert own == expected
        if own is not None:
            assert own.kept_for in (None, position)
            taken.add(own.key)

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.ordering.groups import FaceLine, group_faces
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError


def line(key: int = 1, **changes: Any) -> FaceLine:
    fields: dict[str, Any] = {
        "sheeting_type": "XI",
        "optics": "prismatic",
        "base_color": "white",
        "shape": Shape.RECTANGLE,
        "width_in": 24,
        "height_in": 24,
        "quantity": 1,
    }
    return FaceLine(key=key, **fields | changes)


def test_forty_eight_square_feet_at_162_an_hour_take_17_8_minutes():
    # 12 faces of 24 × 24 in are 48 ft² (24 in is 2 ft); 17.8 min at 162 ft²/h is common
    # practice, no source.
    (group,) = group_faces([line(quantity=12)], 162.0)
    assert group.area_ft2 == 48.0
    assert round(group.press_minutes, 1) == 17.8


def test_faces_go_together_by_type_optics_and_base_colour():
    groups = group_faces(
        [
            line(1),
            line(2, base_color="fluorescent-yellow-green"),
            line(3, sheeting_type="IV"),
            line(4, quantity=2),
            line(5, sheeting_type="III", optics="beaded"),
            line(6, sheeting_type="III"),
        ],
        162.0,
    )
    assert [
        (g.sheeting_type, g.optics, g.base_color, g.keys, g.face_count) for g in groups
    ] == [
        ("III", "beaded", "white", (5,), 1),
        ("III", "prismatic", "white", (6,), 1),
        ("IV", "prismatic", "white", (3,), 1),
        ("XI", "prismatic", "fluorescent-yellow-green", (2,), 1),
        ("XI", "prismatic", "white", (1, 4), 3),
    ]


def test_the_press_time_is_for_what_leaves_the_roll_not_for_the_shape():
    (group,) = group_faces([line(shape=Shape.OCTAGON, width_in=30, height_in=30)], 6.25)
    assert group.area_ft2 == 6.25
    assert group.press_minutes == 60.0
    assert group.shape_area_ft2 == pytest.approx(5.178, abs=0.0005)  # regular octagon, shapely


def test_one_unknown_shape_leaves_the_shapes_of_its_group_not_known():
    known, unknown = line(1), line(2, shape=Shape.PENTAGON)
    for order in ([known, unknown], [unknown, known]):
        (group,) = group_faces(order, 162.0)
        assert group.shape_area_ft2 is None
        assert group.area_ft2 == 8.0


def test_an_order_without_lines_has_no_groups():
    assert group_faces([], 162.0) == ()


def test_a_line_of_no_faces_is_refused():
    with pytest.raises(OutOfRangeError, match="A line of 0 faces cannot be printed"):
        group_faces([line(quantity=0)], 162.0)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["IV", "XI"]),
            st.sampled_from(["white", "fluorescent-yellow"]),
            st.integers(1, 9),
        )
    )
)
def test_no_face_is_lost_and_none_is_printed_twice(wanted):
    lines = [
        line(key, sheeting_type=sheeting_type, base_color=base_color, quantity=quantity)
        for key, (sheeting_type, base_color, quantity) in enumerate(wanted)
    ]
    groups = group_faces(lines, 162.0)
    assert sorted(key for group in groups for key in group.keys) == [each.key for each in lines]
    assert sum(group.face_count for group in groups) == sum(each.quantity for each in lines)
    assert sum(g.area_ft2 for g in groups) == pytest.approx(
        4 * sum(each.quantity for each in lines)
    )

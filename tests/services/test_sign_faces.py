"""The drawings of sign faces: every shape, every colour, and what is not known."""

import re
from xml.etree import ElementTree as ET

import pytest

from inventory.engineering.standards.catalogue import sign_types
from inventory.engineering.standards.vocabulary import Color, Shape
from inventory.services.sign_faces import (
    FILLS,
    SHAPES,
    FaceLooks,
    draw_face,
    face_title,
    looks_of_code,
)

SVG = "{http://www.w3.org/2000/svg}"
NUMBER_OF_SIDES = {
    # MUTCD 11th edition, Table 2A-1 (from memory); a crossbuck is two crossing blades.
    "octagon": 8,
    "triangle-down": 3,
    "diamond": 4,
    "rectangle": 4,
    "pentagon": 5,
    "pennant": 3,
    "trapezoid": 4,
    "crossbuck": 12,
}


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own drawing


def outline_of(svg: str) -> list[tuple[float, float]]:
    polygon = parsed(svg).find(f"{SVG}polygon")
    assert polygon is not None
    return [
        (float(x), float(y))
        for x, y in (pair.split(",") for pair in polygon.attrib["points"].split())
    ]


def test_every_shape_of_the_catalogue_can_be_drawn():
    assert set(SHAPES) == {shape.value for shape in Shape}


def test_every_colour_of_the_tables_has_a_fill():
    assert {color.value for color in Color} <= set(FILLS)


@pytest.mark.parametrize(("shape", "sides"), NUMBER_OF_SIDES.items())
def test_a_shape_has_its_number_of_sides(shape, sides):
    svg = draw_face(FaceLooks(shape=shape, background_color="white", legend_color="black"))
    assert len(outline_of(svg)) == sides


def test_a_stop_sign_is_a_regular_octagon():
    points = outline_of(draw_face(FaceLooks(shape="octagon", background_color="red")))
    sides = [
        ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
        for (x1, y1), (x2, y2) in zip(points, points[1:] + points[:1], strict=True)
    ]
    # Coordinates are written with four figures.
    assert max(sides) - min(sides) < 0.05


def test_a_yield_sign_points_down():
    points = outline_of(draw_face(FaceLooks(shape="triangle-down", background_color="white")))
    lowest = max(y for _x, y in points)
    assert sum(abs(y - lowest) < 0.01 for _x, y in points) == 1


def test_a_face_keeps_its_proportions():
    looks = FaceLooks(
        shape="rectangle",
        background_color="green",
        legend_color="white",
        width_in=30.0,
        height_in=6.0,
    )
    xs, ys = zip(*outline_of(draw_face(looks)), strict=True)
    assert (max(xs) - min(xs)) / (max(ys) - min(ys)) == pytest.approx(5.0, rel=1e-3)


def test_the_title_says_the_face_in_words():
    title = face_title(looks_of_code("R1-1"))
    assert "R1-1" in title
    assert "red octagon" in title
    assert "white legend" in title
    assert "schematic" in title


def test_a_code_nobody_knows_is_drawn_dashed():
    svg = draw_face(looks_of_code("ZZ-99"))
    assert "sign-face-unknown" in svg
    assert "stroke-dasharray" in svg
    assert "ZZ-99" in svg
    assert "not known" in svg


def test_a_face_of_known_shape_and_unknown_colour_is_drawn_dashed_in_its_shape():
    svg = draw_face(FaceLooks(shape="octagon", code="X-1"))
    assert "sign-face-unknown" in svg
    assert len(outline_of(svg)) == 8


def test_a_back_shows_no_legend():
    svg = draw_face(looks_of_code("R1-1"), is_back=True)
    assert f"{SVG}text" not in {element.tag for element in parsed(svg).iter()}
    assert "from behind" in svg


def test_a_legend_is_escaped():
    svg = draw_face(
        FaceLooks(
            shape="rectangle",
            background_color="white",
            legend_color="black",
            legend_text='<script>alert("x")</script>',
        )
    )
    assert "<script" not in svg
    parsed(svg)


def test_a_legend_of_its_ground_colour_is_still_readable():
    svg = draw_face(
        FaceLooks(
            shape="diamond", background_color="yellow", legend_color="yellow", code="OM1-1"
        )
    )
    text = parsed(svg).find(f"{SVG}text")
    assert text is not None
    assert text.attrib["fill"] != FILLS["yellow"]


def test_every_type_of_the_catalogue_draws_as_valid_svg_inside_its_box():
    for each in sign_types():
        root = parsed(draw_face(looks_of_code(each.code), size_px=48))
        assert float(root.attrib["width"]) <= 48.01
        assert float(root.attrib["height"]) <= 48.01
        left, top, width, height = map(float, root.attrib["viewBox"].split())
        for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", ET.tostring(root, encoding="unicode")):
            assert left <= float(x) <= left + width + 0.01
            assert top <= float(y) <= top + height + 0.01

"""The drawing of a load: pieces checked by shapely, the PDF by what another program reads."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import defaultdict
from io import BytesIO
from xml.etree import ElementTree

import pytest
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from inventory.interchange.layout_drawing import (
    ROW_IN,
    DrawnCut,
    DrawnFace,
    LayoutDrawing,
    layout_pdf,
    layout_svg,
)

PDFTOTEXT = shutil.which("pdftotext")
SVG = "{http://www.w3.org/2000/svg}"


def square(name, at, size, words="R1-1, line 1", *, across=0.5):
    corners = (
        (at, across),
        (at + size, across),
        (at + size, across + size),
        (at, across + size),
    )
    return DrawnFace(name, words, corners)


def drawing(faces, taken_in, cuts=()):
    return LayoutDrawing(
        title="1. roll S-1 <lot & 7>",
        roll_width_in=48.0,
        taken_in=taken_in,
        lead_in_in=6.0,
        tail_in=12.0,
        edge_in=0.5,
        faces=tuple(faces),
        cuts=tuple(cuts),
        figures=(("waste", "12.3 %"), ("roll taken", "12.50 ft")),
    )


def read(svg):
    return ElementTree.fromstring(svg)  # noqa: S314 - our own drawing


def drawn_pieces(svg):
    """Return what is drawn of each piece, moved back to where its row begins on the roll."""
    root = read(svg)
    starts, pieces = [], defaultdict(list)
    done = 0.0
    for row in root.findall(f"{SVG}g"):
        roll = row.find(f"{SVG}rect")
        starts.append(done)
        for piece in row.findall(f"{SVG}polygon"):
            points = [tuple(map(float, p.split(","))) for p in piece.get("points").split()]
            pieces[piece.get("data-face")].append(Polygon([(x + done, y) for x, y in points]))
        assert roll.get("height") == "48"
        done += float(roll.get("width"))
    return pieces, starts, done


@pytest.mark.parametrize("count", [3, 40])
def test_every_piece_is_drawn_where_it_lies(count):
    faces = [square(str(n), 6 + 31 * n, 30) for n in range(count)]
    asked = drawing(faces, 6 + 31 * count + 12)
    pieces, starts, length = drawn_pieces(layout_svg(asked))
    assert length == pytest.approx(asked.taken_in, abs=0.01)
    for face in faces:
        whole = Polygon(face.corners)
        assert unary_union(pieces[face.name]).symmetric_difference(whole).area < 0.1
    # Gaps lie between the faces: no row ends within one.
    assert all(len(each) == 1 for each in pieces.values())
    # Five faces of 31 in go into a row of 180 in.
    assert ROW_IN == 180
    assert len(starts) == (1 if count == 3 else 8)


def test_a_piece_longer_than_a_row_is_drawn_in_each_and_named_once():
    long = DrawnFace("7", "guide sign", ((10, 1), (400, 1), (400, 40), (10, 40)))
    svg = layout_svg(drawing([long], 420))
    pieces, starts, _ = drawn_pieces(svg)
    assert len(pieces["7"]) == len(starts) == 3
    assert unary_union(pieces["7"]).symmetric_difference(box(10, 1, 400, 40)).area < 1
    names = read(svg).findall(f".//{SVG}text[@class='name']")
    assert [name.text for name in names] == ["7"]


def test_what_is_typed_is_text_and_no_markup():
    faces = [square("1", 6, 30, words="<script>alert('x')</script> & co")]
    svg = layout_svg(drawing(faces, 60))
    assert "<script" not in svg
    assert "&lt;script&gt;" in svg
    assert "style=" not in svg  # the content security policy refuses it


def test_cuts_and_feet_are_drawn():
    cuts = [DrawnCut((36.25, 0), (36.25, 48)), DrawnCut((0, 31), (290, 31))]
    faces = [square("1", 6, 30), square("2", 200, 30)]
    root = read(layout_svg(drawing(faces, 290, cuts)))
    rows = root.findall(f"{SVG}g")
    assert len(rows) == 2
    lines = [len(row.findall(f"{SVG}line[@class='cut']")) for row in rows]
    assert lines == [2, 1]  # the long cut goes on in the second row
    feet = [text.text for text in root.findall(f".//{SVG}text[@class='ruler']")]
    assert feet[0] == "0 ft"
    assert {"10 ft", "24 ft"} <= set(feet)


@pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext is not here")
def test_the_pdf_says_its_scale_and_names_every_face(tmp_path):
    faces = [square(str(n), 6 + 31 * n, 30, words=f"R1-1, line {n}") for n in range(20)]
    stream = BytesIO()
    asked = drawing(faces, 6 + 31 * 20 + 12, [DrawnCut((36.5, 0), (36.5, 48))])
    layout_pdf(stream, [asked, asked], title="Order 7", author="Shop", foot="layout 3")
    file = tmp_path / "layout.pdf"
    file.write_bytes(stream.getvalue())
    asked_of = [str(PDFTOTEXT), "-layout", str(file), "-"]
    words = subprocess.run(asked_of, capture_output=True, text=True, check=True).stdout
    assert re.search(r"Drawn 1 : \d+\.", words)
    assert words.count("waste: 12.3 %") == 2
    assert "page 2 of" in words
    for n in range(20):
        assert f"{n} R1-1, line {n}" in re.sub(r"\s+", " ", words)

"""
Labels rendered at printed size: read back by the decoder the field app uses, in 640 × 480.

The picture is what a camera 60° wide sees a hand's breadth away: 115 mm across 640 pixels.
"""

from __future__ import annotations

import json
import random
import shutil
import subprocess
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageFilter

from inventory.errors import OutOfRangeError
from inventory.interchange.labels_pdf import LEAST_CODE_IN, code_side_in, left_out, write_labels
from inventory.services.production.face_labels import LabelWords, Measures
from tools.node import run_node

FRAME_PX = (640, 480)
PICTURE_WIDTH_MM = 115.0
DPI = 600
LABEL = "001-0JK"
PDFTOPPM, PDFTOTEXT = shutil.which("pdftoppm"), shutil.which("pdftotext")
needs_poppler = pytest.mark.skipif(PDFTOPPM is None, reason="pdftoppm is not here")


def words(**changed):
    told = {
        "label_id": LABEL,
        "address": f"https://signs.alder.example/l/{LABEL}",
        "code": "W1-2R",
        "size": "30 × 30 in",
        "legend": "",
        "made": "03/2026 TS",
        "sheeting": "white Type XI prismatic, lot L-2603",
        "overlay": "lot O-14",
        "order": "2026-003",
        "agency": "OC",
    }
    return LabelWords(**told | changed)


def sheet(width, height, columns=1, rows=1):
    return Measures(
        page_width_in=width * columns,
        page_height_in=height * rows,
        left_in=0,
        top_in=0,
        columns=columns,
        rows=rows,
        label_width_in=width,
        label_height_in=height,
        gap_across_in=0,
        gap_down_in=0,
    )


def pdf(folder, labels, measures, **more) -> Path:
    stream = BytesIO()
    write_labels(stream, labels, measures=measures, title="labels", author="shop", **more)
    file = Path(folder) / "labels.pdf"
    file.write_bytes(stream.getvalue())
    return file


def printed(file: Path) -> list[Image.Image]:
    """Return the pages as they are printed, at 600 dots an inch."""
    asked = [str(PDFTOPPM), "-r", str(DPI), "-gray", str(file), str(file.with_suffix(""))]
    subprocess.run(asked, check=True)
    pages = sorted(file.parent.glob(f"{file.stem}-*.pgm"))
    return [Image.open(page).convert("L") for page in pages]


def seen(page: Image.Image, turn_deg: float, seed: int) -> Image.Image:
    """Return what a phone sees of a label: small, askew, out of focus, noisy."""
    chance = random.Random(seed)  # noqa: S311 - a shaking hand, not a secret
    scale = FRAME_PX[0] / PICTURE_WIDTH_MM * 25.4 / DPI
    small = page.resize(
        (round(page.width * scale), round(page.height * scale)), Image.Resampling.LANCZOS
    )
    askew = small.rotate(turn_deg, Image.Resampling.BICUBIC, expand=True, fillcolor=96)
    frame = Image.new("L", FRAME_PX, 96)
    shake = [chance.randrange(-4, 5) for _ in range(2)]
    left, top = (FRAME_PX[0] - askew.width) // 2, (FRAME_PX[1] - askew.height) // 2
    frame.paste(askew, (left + shake[0], top + shake[1]))
    noise = Image.frombytes(
        "L", FRAME_PX, bytes(128 + chance.randrange(-20, 21) for _ in range(640 * 480))
    )
    return Image.blend(frame.filter(ImageFilter.GaussianBlur(0.6)), noise, 0.08)


def read_codes(pictures: list[Image.Image], folder: Path) -> list[str]:
    """Return what the field app's decoder reads in each picture."""
    files = []
    for at, picture in enumerate(pictures):
        file = folder / f"seen-{at}.gray"
        file.write_bytes(picture.tobytes())
        files.append(str(file))
    out = folder / "read.json"
    ended = run_node("tests/js/support/read_codes.mjs", str(out), *files)
    assert ended == 0
    return [str(each) for each in json.loads(out.read_text(encoding="utf-8"))]


# As large as a hand, as on a sheet of ten, of thirty, and the smallest that is taken.
SIZES = [(4.0, 3.0), (4.0, 2.0), (2.625, 1.0), (1.5, 0.83)]


@needs_poppler
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]} × {size[1]} in")
def test_a_label_reads_back_at_printed_size(size, tmp_path):
    (page,) = printed(pdf(tmp_path, [words()], sheet(*size)))
    assert page.width == pytest.approx(size[0] * DPI, abs=2)
    pictures = [seen(page, turn, seed) for seed, turn in enumerate((0, 7, -12))]
    assert read_codes(pictures, tmp_path) == [f"https://signs.alder.example/l/{LABEL}"] * 3


def test_a_label_too_small_to_be_read_is_refused():
    with pytest.raises(OutOfRangeError, match=f"{LEAST_CODE_IN:g} in at least"):
        code_side_in(sheet(1.2, 0.5))
    with pytest.raises(OutOfRangeError, match="larger label"):
        write_labels(
            BytesIO(), [words()], measures=sheet(1.0, 0.6), title="labels", author="shop"
        )


@needs_poppler
def test_words_fit_beside_the_code_or_are_said_to_be_left_out(tmp_path):
    long = words(
        legend="Old Ferry Landing Road and County Highway 112, northern junction",
        sheeting="fluorescent yellow green Type XI prismatic, lot L-2603-ALDER-000123456",
    )
    measures = sheet(4.0, 2.0)
    assert left_out(long, measures) == []
    (page,) = printed(pdf(tmp_path, [long], measures))
    # Nothing is printed on the label's edges, nor between the code and the words.
    edge = round(0.03 * DPI)
    for strip in (
        (0, 0, page.width, edge),
        (0, page.height - edge, page.width, page.height),
        (page.width - edge, 0, page.width, page.height),
    ):
        assert min(page.crop(strip).tobytes()) > 200, strip
    small = sheet(2.625, 1.0)
    assert left_out(words(), small) == [
        "OC, order 2026-003",
        "installed ____ / ____ / ________",
    ]


@needs_poppler
def test_a_sheet_begun_before_is_gone_on_with(tmp_path):
    labels = [words(label_id=f"id-{n}", address=f"https://a.example/l/{n}") for n in range(8)]
    file = pdf(tmp_path, labels, sheet(4.0, 2.0, columns=2, rows=3), first_place=5)
    asked = [str(PDFTOTEXT), "-layout", str(file), "-"]
    text = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    pages = text.split("\f")
    assert [[n for n in range(8) if f"id-{n}" in page] for page in pages[:2]] == [
        [0, 1],
        [2, 3, 4, 5, 6, 7],
    ]

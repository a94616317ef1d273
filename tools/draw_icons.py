"""
Draw the field app's icons into ``static/icons``: the mark of ``signfleet.svg`` on its paper.

Run it when the mark changes; the pictures are committed.
"""

from __future__ import annotations

import sys

from PIL import Image, ImageDraw

from tools.node import ROOT

FOLDER = ROOT / "static" / "icons"
MARK_SIZE = 32  # the mark's own square
FINENESS = 4  # drawn so many times larger, then made smaller: smooth edges
PAPER, INK, TEAL = "#fbfaf7", "#15202b", "#0b6e6e"
# How much of the picture the mark's square fills; of a maskable one the phone may cut away all
# but a circle of 4/5 of its width (W3C, Web Application Manifest, "safe zone").
PICTURES = {
    "field-192.png": (192, 0.88),
    "field-512.png": (512, 0.88),
    "field-maskable-512.png": (512, 0.66),
    "field-apple-180.png": (180, 0.84),
}


def draw(size_px: int, share: float) -> Image.Image:
    """Return the mark in the middle of a square of paper."""
    side = size_px * FINENESS
    scale = side * share / MARK_SIZE
    edge = side * (1 - share) / 2

    def at(x: float, y: float) -> tuple[float, float]:
        return (edge + x * scale, edge + y * scale)

    picture = Image.new("RGB", (side, side), PAPER)
    pen = ImageDraw.Draw(picture)
    pen.rectangle((*at(15, 20.5), *at(17, 31)), fill=INK)
    for reach, fill in ((11.9, TEAL), (7.7, PAPER)):
        pen.polygon(
            [at(16, 12 - reach), at(16 + reach, 12), at(16, 12 + reach), at(16 - reach, 12)],
            fill=fill,
        )
    ring = 3.6 + 1.0
    pen.arc(
        (*at(16 - ring, 12 - ring), *at(16 + ring, 12 + ring)),
        start=-127.7,
        end=180,
        fill=INK,
        width=round(2 * scale),
    )
    pen.polygon([at(12, 7.2), at(12.6, 11.4), at(16.2, 9.2)], fill=INK)
    return picture.resize((size_px, size_px), Image.Resampling.LANCZOS)


def main() -> int:
    """Write every picture."""
    for name, (size_px, share) in PICTURES.items():
        draw(size_px, share).save(FOLDER / name, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())

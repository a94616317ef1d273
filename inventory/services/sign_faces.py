"""Sign faces as small drawings of our own: shape, colours, and the code or legend as text.

The drawings are schematic. They show what a face is, not the standard's artwork, and what
is not known is drawn dashed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from html import escape
from typing import TYPE_CHECKING

from django.utils.safestring import SafeString, mark_safe

from inventory.engineering.standards.catalogue import find_sign_type, normalise_code
from inventory.errors import NoPublishedValueError
from inventory.models import ColourArea, LocalSignType

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from inventory.models import OrderLine, Organisation, Position, Sign

# Screen colours that stand for the sign colours; they are not colorimetric values.
FILLS = {
    "white": "#FFFFFF",
    "yellow": "#F4C430",
    "fluorescent-yellow": "#F7E11E",
    "fluorescent-yellow-green": "#C8E03C",
    "orange": "#EB7E23",
    "fluorescent-orange": "#FF6F1F",
    "fluorescent-pink": "#F0569B",
    "red": "#B01E2B",
    "fluorescent-red": "#E0303F",
    "fluorescent-green": "#3FB950",
    "green": "#14683A",
    "blue": "#1D4F91",
    "light-blue": "#6FA8D6",
    "brown": "#6A4526",
    "purple": "#5B2D82",
    "black": "#1A1A1A",
    "gray": "#8A8F94",
}
LIGHT_COLORS = {
    "white",
    "yellow",
    "fluorescent-yellow",
    "fluorescent-yellow-green",
    "orange",
    "fluorescent-orange",
    "fluorescent-pink",
    "light-blue",
}
BACK_FILL = "#A9AEB2"
LONGEST_SIDE = 96.0  # of the drawing, in its own units
LETTER_WIDTH_EM = 0.70  # of a bold sans capital, about; keeps the text inside the border
LINE_HEIGHT_EM = 1.05
LONGEST_TEXT = 36

Points = list[tuple[float, float]]


@dataclass(frozen=True)
class FaceLooks:
    """What is known of how a face looks; an empty text is something not known."""

    shape: str = ""
    background_color: str = ""
    legend_color: str = ""
    secondary_color: str = ""
    code: str = ""
    legend_text: str = ""
    name: str = ""
    width_in: float | None = None
    height_in: float | None = None


@dataclass(frozen=True)
class _Outline:
    """An outline in its own box, and the part of the box where text fits."""

    width: float
    height: float
    points: Points
    text_width: float
    text_height: float
    text_middle: float
    is_circle: bool = False


def _octagon(_ratio: float) -> _Outline:
    s, cut = LONGEST_SIDE, LONGEST_SIDE / (2.0 + math.sqrt(2.0))
    points = [
        (cut, 0.0),
        (s - cut, 0.0),
        (s, cut),
        (s, s - cut),
        (s - cut, s),
        (cut, s),
        (0.0, s - cut),
        (0.0, cut),
    ]
    return _Outline(s, s, points, 0.80 * s, 0.42 * s, 0.5 * s)


def _triangle_down(_ratio: float) -> _Outline:
    s = LONGEST_SIDE
    h = s * math.sqrt(3.0) / 2.0
    return _Outline(s, h, [(0.0, 0.0), (s, 0.0), (s / 2, h)], 0.46 * s, 0.26 * h, 0.33 * h)


def _diamond(_ratio: float) -> _Outline:
    s = LONGEST_SIDE
    points = [(s / 2, 0.0), (s, s / 2), (s / 2, s), (0.0, s / 2)]
    return _Outline(s, s, points, 0.60 * s, 0.30 * s, 0.5 * s)


def _rectangle(ratio: float) -> _Outline:
    w = LONGEST_SIDE if ratio >= 1.0 else LONGEST_SIDE * ratio
    h = LONGEST_SIDE if ratio <= 1.0 else LONGEST_SIDE / ratio
    points = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]
    return _Outline(w, h, points, 0.84 * w, 0.74 * h, 0.5 * h)


def _pentagon(_ratio: float) -> _Outline:
    s = LONGEST_SIDE
    points = [(s / 2, 0.0), (s, s / 2), (s, s), (0.0, s), (0.0, s / 2)]
    return _Outline(s, s, points, 0.80 * s, 0.40 * s, 0.62 * s)


def _circle(_ratio: float) -> _Outline:
    s = LONGEST_SIDE
    return _Outline(s, s, [], 0.74 * s, 0.40 * s, 0.5 * s, is_circle=True)


def _pennant(_ratio: float) -> _Outline:
    # Long sides 4, vertical edge 3, as the one pennant of the catalogue is made (W14-3).
    w = LONGEST_SIDE
    h = 2.0 * w * math.tan(math.asin(1.5 / 4.0))
    return _Outline(w, h, [(0.0, 0.0), (w, h / 2), (0.0, h)], 0.52 * w, 0.34 * h, 0.5 * h)


def _crossbuck(_ratio: float) -> _Outline:
    # Two blades crossing at right angles, each 48 by 9 (R15-1); one outline of both.
    s, half = LONGEST_SIDE, 9.0 / 48.0 * LONGEST_SIDE / 2.0 * 1.15
    d = half * math.sqrt(2.0)
    c = s / 2
    points = [
        (d, 0.0),
        (c, c - d),
        (s - d, 0.0),
        (s, d),
        (c + d, c),
        (s, s - d),
        (s - d, s),
        (c, c + d),
        (d, s),
        (0.0, s - d),
        (c - d, c),
        (0.0, d),
    ]
    return _Outline(s, s, points, 0.27 * s, 0.16 * s, 0.5 * s)


def _trapezoid(_ratio: float) -> _Outline:
    s = LONGEST_SIDE
    h = 0.8 * s
    points = [(0.0, 0.0), (s, 0.0), (0.84 * s, h), (0.16 * s, h)]
    return _Outline(s, h, points, 0.66 * s, 0.56 * h, 0.48 * h)


OUTLINES: dict[str, Callable[[float], _Outline]] = {
    "octagon": _octagon,
    "triangle-down": _triangle_down,
    "diamond": _diamond,
    "rectangle": _rectangle,
    "pentagon": _pentagon,
    "circle": _circle,
    "pennant": _pennant,
    "crossbuck": _crossbuck,
    "trapezoid": _trapezoid,
}
SHAPES = tuple(OUTLINES)


def local_types_of(*organisations: Organisation) -> dict[str, LocalSignType]:
    """Return the organisations' own sign types by code, in one query for a whole page."""
    rows = LocalSignType.objects.filter(organisation__in=organisations)
    return {normalise_code(row.code): row for row in rows}


def looks_of_code(
    code: str, local_types: Mapping[str, LocalSignType] | None = None
) -> FaceLooks:
    """Return what a code says of a face; a code nobody knows keeps everything else unknown."""
    if not code.strip():
        return FaceLooks()
    local = (local_types or {}).get(normalise_code(code))
    if local is not None:
        return FaceLooks(
            shape=local.shape,
            background_color=local.background_color,
            legend_color=local.legend_color,
            code=code,
            name=local.name,
            width_in=local.width_in,
            height_in=local.height_in,
        )
    try:
        found, _variant = find_sign_type(code)
    except NoPublishedValueError:
        return FaceLooks(code=code)
    size = found.conventional or found.minimum
    return FaceLooks(
        shape=found.shape.value if found.shape else "",
        background_color=found.background.value if found.background else "",
        legend_color=found.legend.value if found.legend else "",
        secondary_color=found.secondary[0].value if found.secondary else "",
        code=code,
        name=found.name,
        width_in=float(size.width_in) if size and size.width_in else None,
        height_in=float(size.height_in) if size and size.height_in else None,
    )


def looks_of_sign(
    sign: Sign, local_types: Mapping[str, LocalSignType] | None = None
) -> FaceLooks:
    """Return how one physical face looks: its own colours and size before its code's."""
    looks = looks_of_code(sign.sign_code, local_types)
    own = {area.part: area.color for area in sign.colour_areas.all()}
    return replace(
        looks,
        code=f"{sign.sign_code}{sign.variant}",
        legend_text=sign.legend_text,
        background_color=own.get(ColourArea.Part.BACKGROUND, looks.background_color),
        legend_color=own.get(ColourArea.Part.LEGEND, looks.legend_color),
        width_in=sign.width_in or looks.width_in,
        height_in=sign.height_in or looks.height_in,
    )


def looks_of_position(
    position: Position, local_types: Mapping[str, LocalSignType] | None = None
) -> FaceLooks:
    """Return how the face looks that a position asks for."""
    looks = looks_of_code(position.sign_code, local_types)
    return replace(
        looks,
        code=f"{position.sign_code}{position.variant}",
        legend_text=position.legend_text,
        width_in=position.width_in or looks.width_in,
        height_in=position.height_in or looks.height_in,
    )


def looks_of_line(
    line: OrderLine, local_types: Mapping[str, LocalSignType] | None = None
) -> FaceLooks:
    """Return how the faces of an order line will look."""
    return replace(
        looks_of_code(line.sign_code, local_types),
        shape=line.shape,
        code=f"{line.sign_code}{line.variant}",
        legend_text=line.legend_text,
        background_color=line.background_color,
        legend_color=line.legend_color,
        secondary_color=line.secondary_color.split("/")[0],
        width_in=line.width_in,
        height_in=line.height_in,
    )


def face_title(looks: FaceLooks, *, is_back: bool = False) -> str:
    """Return the drawing in words, as a screen reader says it."""
    name = " ".join(part for part in (looks.code, looks.name) if part) or "Sign of unknown code"
    if is_back:
        return f"{name}: seen from behind (schematic)"
    ground = looks.background_color.replace("-", " ")
    shape = looks.shape.replace("-", " ") or "shape not known"
    parts = [f"{ground} {shape}" if ground else f"{shape}, colour not known"]
    if looks.legend_color:
        parts.append(f"{looks.legend_color.replace('-', ' ')} legend")
    if looks.legend_text:
        parts.append(f"reads “{looks.legend_text}”")
    return f"{name}: {', '.join(parts)} (schematic)"


def draw_face(looks: FaceLooks, *, size_px: int = 64, is_back: bool = False) -> SafeString:
    """Return one face as an inline SVG no larger than ``size_px`` either way."""
    ratio = 1.0
    if looks.width_in and looks.height_in:
        ratio = looks.width_in / looks.height_in
    outline = OUTLINES.get(looks.shape, _rectangle)(ratio)
    is_known = looks.shape in OUTLINES and looks.background_color in FILLS and not is_back
    parts = (
        _known_face(looks, outline)
        if is_known
        else _dashed_face(looks, outline, is_back=is_back)
    )
    pad = 2.0
    scale = size_px / (LONGEST_SIDE + 2 * pad)
    width, height = outline.width + 2 * pad, outline.height + 2 * pad
    kind = "back" if is_back else ("known" if is_known else "unknown")
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="sign-face sign-face-{kind}" '
        'role="img" '
        f'viewBox="{-pad:g} {-pad:g} {width:.4g} {height:.4g}" '
        f'width="{width * scale:.4g}" height="{height * scale:.4g}">'
        f"<title>{escape(face_title(looks, is_back=is_back))}</title>{''.join(parts)}</svg>"
    )
    return mark_safe(svg)  # noqa: S308 - every text in it went through escape()


def _known_face(looks: FaceLooks, outline: _Outline) -> list[str]:
    """Return the parts of a face whose shape and ground are known."""
    ground = FILLS[looks.background_color]
    legend = FILLS.get(looks.legend_color, "")
    plain_ink = "#1A1A1A" if looks.background_color in LIGHT_COLORS else "#FFFFFF"
    ink = legend if legend and legend != ground else plain_ink
    # A thin outer line parts a white face from white paper and a dark one from the night.
    parts = [_shape(outline, 1.0, f'fill="{ground}" stroke="#6B7280" stroke-width="1"')]
    if looks.secondary_color in FILLS and looks.secondary_color != looks.legend_color:
        parts.append(_secondary_bar(looks, outline))
    if looks.shape == "triangle-down":
        parts.append(_shape(outline, 0.88, f'fill="none" stroke="{ink}" stroke-width="9"'))
    elif legend and looks.shape != "crossbuck":
        # A dark border stands in from the edge, a light one runs along it (MnDOT guide-sign
        # design course, 2015).
        inset = 0.965 if looks.legend_color in LIGHT_COLORS else 0.90
        parts.append(_shape(outline, inset, f'fill="none" stroke="{ink}" stroke-width="2"'))
    parts.extend(_text(looks, outline, ink))
    return parts


def _dashed_face(looks: FaceLooks, outline: _Outline, *, is_back: bool) -> list[str]:
    """Return the parts of a face seen from behind, or one not known."""
    fill = BACK_FILL if is_back else "none"
    parts = [
        _shape(
            outline,
            0.97,
            f'fill="{fill}" stroke="currentColor" stroke-width="2" stroke-dasharray="7 5"',
        )
    ]
    if is_back:
        x = _text_centre(looks, outline)
        reach = min(0.7 * outline.text_height, 0.36 * outline.height)
        parts.extend(
            f'<circle cx="{x:.4g}" cy="{outline.text_middle + y:.4g}" r="3" fill="#4B5158"/>'
            for y in (-reach, reach)
        )
        return parts
    unknown = FaceLooks(code=looks.code or "?", legend_text=looks.legend_text)
    parts.extend(_text(unknown, outline, "currentColor"))
    return parts


def _shape(outline: _Outline, scale: float, style: str) -> str:
    """Return the outline shrunk about its middle."""
    if outline.is_circle:
        c = outline.width / 2
        return f'<circle cx="{c:g}" cy="{c:g}" r="{c * scale:.4g}" {style}/>'
    xs = [x for x, _y in outline.points]
    ys = [y for _x, y in outline.points]
    cx, cy = sum(xs) / len(xs), sum(ys) / len(ys)
    # The border keeps one distance from the edge on long faces too.
    shrink = (1.0 - scale) * LONGEST_SIDE / 2.0
    half_width, half_height = outline.width / 2.0, outline.height / 2.0
    sx = max(0.2, 1.0 - shrink / half_width)
    sy = max(0.2, 1.0 - shrink / half_height)
    points = " ".join(
        f"{cx + (x - cx) * sx:.4g},{cy + (y - cy) * sy:.4g}" for x, y in outline.points
    )
    return f'<polygon points="{points}" stroke-linejoin="round" {style}/>'


def _secondary_bar(looks: FaceLooks, outline: _Outline) -> str:
    """Return a bar under the text in the second colour."""
    width, height = outline.text_width * 0.7, max(2.0, outline.height * 0.06)
    x = _text_centre(looks, outline) - width / 2
    y = min(outline.text_middle + outline.text_height / 2, outline.height * 0.84 - height)
    fill = FILLS[looks.secondary_color]
    return (
        f'<rect x="{x:.4g}" y="{y:.4g}" width="{width:.4g}" height="{height:.4g}" '
        f'fill="{fill}"/>'
    )


def _text_centre(looks: FaceLooks, outline: _Outline) -> float:
    return outline.width * (0.34 if looks.shape == "pennant" else 0.5)


def _text(looks: FaceLooks, outline: _Outline, ink: str) -> list[str]:
    """Return the legend, or the code where there is none, as large as it fits."""
    text = looks.legend_text or looks.code
    if not text:
        return []
    if len(text) > LONGEST_TEXT:
        text = text[: LONGEST_TEXT - 1].rstrip() + "…"
    lines, size = _fit(text, outline.text_width, outline.text_height)
    x = _text_centre(looks, outline)
    first = outline.text_middle - (len(lines) - 1) * size * LINE_HEIGHT_EM / 2.0
    return [
        f'<text x="{x:.4g}" y="{first + n * size * LINE_HEIGHT_EM:.4g}" fill="{ink}" '
        f'font-size="{size:.4g}" font-weight="700" '
        f'text-anchor="middle" dominant-baseline="central">{escape(line)}</text>'
        for n, line in enumerate(lines)
    ]


def _fit(text: str, width: float, height: float) -> tuple[list[str], float]:
    """Return the text broken into the lines that let its letters be largest, and their size."""
    words = text.split()
    best: tuple[list[str], float] = ([text], 0.0)
    for count in range(1, min(len(words), 4) + 1):
        lines = _break(words, count)
        longest = max(len(line) for line in lines)
        size = min(
            width / (longest * LETTER_WIDTH_EM),
            height / (len(lines) * LINE_HEIGHT_EM),
            0.34 * LONGEST_SIDE,
        )
        if size > best[1]:
            best = (lines, size)
    return best


def _break(words: list[str], count: int) -> list[str]:
    """Return words in at most ``count`` lines of about one length."""
    target = sum(len(word) + 1 for word in words) / count
    lines: list[str] = []
    for word in words:
        if lines and (len(lines) == count or len(lines[-1]) + len(word) / 2 < target):
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines

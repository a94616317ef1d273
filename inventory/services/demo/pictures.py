"""Pictures of signs, drawn by code and marked so: a face on its post in a plain landscape."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw, ImageFilter, ImageFont

from inventory.engineering.standards.catalogue import exact_sign_type
from inventory.engineering.standards.vocabulary import Color, Shape
from inventory.models.inspection import Observation

if TYPE_CHECKING:
    from random import Random

    from inventory.services.demo.faces import FacePlan
    from inventory.services.demo.readings import ObservationPlan

WIDTH_PX, HEIGHT_PX = 640, 480
OVERSAMPLING = 2
JPEG_QUALITY = 82
MARK = "drawn"

Rgb = tuple[int, int, int]
Points = list[tuple[float, float]]

# What the colours look like by day; schematic, not the standard's colour boxes.
PAINTS: dict[str, Rgb] = {
    Color.WHITE: (244, 244, 240),
    Color.BLACK: (24, 24, 26),
    Color.RED: (178, 30, 38),
    Color.YELLOW: (246, 196, 34),
    Color.GREEN: (10, 96, 62),
    Color.BLUE: (22, 70, 142),
    Color.BROWN: (106, 66, 36),
    Color.ORANGE: (236, 122, 28),
    Color.FLUORESCENT_YELLOW_GREEN: (196, 232, 36),
}
SKIES: tuple[tuple[Rgb, Rgb], ...] = (
    ((120, 168, 212), (214, 228, 236)),
    ((150, 164, 178), (212, 216, 218)),
    ((96, 140, 190), (244, 214, 180)),
)
FIELDS: tuple[Rgb, ...] = ((110, 132, 74), (150, 142, 84), (92, 122, 80), (132, 126, 96))
GALVANISED: Rgb = (146, 150, 152)
WOOD: Rgb = (120, 92, 66)
SHADOW_DEPTH = 110  # of 255


@dataclass(frozen=True, slots=True)
class FaceLook:
    """What is drawn of a face."""

    shape: Shape
    background: Rgb
    legend: Rgb
    text: str
    width_in: float
    height_in: float
    arrow: str


def draw_photo(face: FacePlan, seen: list[ObservationPlan], rng: Random) -> bytes:
    """Return a small JPEG of a face at the roadside with what was seen on it."""
    scale = OVERSAMPLING
    image = _landscape(rng, scale)
    kinds = {each.kind: each.severity for each in seen}
    panel = _face_picture(_look(face), scale, kinds, rng)
    if Observation.Kind.TURNED in kinds:
        panel = panel.resize((max(8, int(panel.width * 0.45)), panel.height))
    lean = rng.choice((-1, 1)) * (6 + 4 * kinds.get(Observation.Kind.LEANING, 0))
    is_leaning = Observation.Kind.LEANING in kinds
    _stand(image, panel, face, scale, lean if is_leaning else rng.uniform(-1.0, 1.0))
    if Observation.Kind.OBSTRUCTED in kinds:
        _branches(image, rng, scale, kinds[Observation.Kind.OBSTRUCTED])
    image = image.reduce(scale)
    _mark(image)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()


@cache
def draw_proof(legend: str) -> bytes:
    """Return a picture of a legend as a shop sends it to be approved, marked as drawn."""
    picture = Image.new("RGB", (720, 160), "white")
    draw = ImageDraw.Draw(picture)
    draw.rectangle((6, 6, 713, 153), outline="black", width=4)
    draw.text((24, 48), legend[:40], fill="black", font=_font(44))
    draw.text((640, 128), "drawn", fill="black", font=_font(16))
    stream = io.BytesIO()
    picture.save(stream, "PNG", optimize=True)
    return stream.getvalue()


def _font(size: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(size)


def _look(face: FacePlan) -> FaceLook:
    position = face.position
    sign_type = exact_sign_type(position.code)
    background = position.background or (sign_type.background if sign_type else None) or "white"
    legend = (sign_type.legend if sign_type else None) or "black"
    name = sign_type.name if sign_type else ""
    text = _legend_text(position.code, position.legend, name)
    arrow = ""
    if position.code in {"W1-1", "W1-2", "W1-8", "R6-1"}:
        arrow = position.variant or "R"
        text = ""
    return FaceLook(
        shape=(sign_type.shape if sign_type else None) or Shape.RECTANGLE,
        background=PAINTS.get(background, PAINTS[Color.WHITE]),
        legend=PAINTS.get(legend, PAINTS[Color.BLACK]),
        text=text,
        width_in=position.width_in or 24.0,
        height_in=position.height_in or 24.0,
        arrow=arrow,
    )


def _legend_text(code: str, legend: str, name: str) -> str:
    if code == "R2-1":
        return f"SPEED\nLIMIT\n{legend}"
    if legend:
        return legend.upper()
    plain = name.split("(")[0].split(",")[0].strip().upper()
    return "\n".join(plain.split()[:4])


def _landscape(rng: Random, scale: int) -> Image.Image:
    """Return sky, hills, a field and a road that runs away from the viewer."""
    width, height = WIDTH_PX * scale, HEIGHT_PX * scale
    image = Image.new("RGB", (width, height))
    draw = ImageDraw.Draw(image)
    top, bottom = rng.choice(SKIES)
    horizon = int(height * rng.uniform(0.52, 0.62))
    for y in range(horizon):
        share = y / horizon
        draw.line(((0, y), (width, y)), fill=_mixed(top, bottom, share))
    field = rng.choice(FIELDS)
    for distance, lift in ((0.35, 0.10), (0.6, 0.05)):
        _hill(draw, width, horizon, lift * height, _mixed(field, bottom, 1 - distance), rng)
    for y in range(horizon, height):
        share = (y - horizon) / (height - horizon)
        draw.line(((0, y), (width, y)), fill=_mixed(_mixed(field, bottom, 0.35), field, share))
    vanish = width * rng.uniform(0.2, 0.4)
    near_left, near_right = -0.25 * width, 0.52 * width
    draw.polygon(
        [
            (vanish - 4, horizon),
            (vanish + 4, horizon),
            (near_right, height),
            (near_left, height),
        ],
        fill=(92, 92, 94),
    )
    middle = (near_left + near_right) / 2
    for step in range(7):
        near, far = 1 / (1 + 0.9 * step), 1 / (1.45 + 0.9 * step)
        _dash(draw, (vanish, horizon), (middle, height), far, near, scale)
    for share in (0.03, 0.97):
        foot = near_left + share * (near_right - near_left)
        draw.line(((vanish, horizon), (foot, height)), fill=(224, 224, 220), width=3 * scale)
    for _ in range(rng.randint(2, 5)):
        _tree(draw, rng, width, horizon, scale)
    return image


def _dash(
    draw: ImageDraw.ImageDraw,
    far_end: tuple[float, float],
    near_end: tuple[float, float],
    far: float,
    near: float,
    scale: int,
) -> None:
    points = [
        (
            far_end[0] + share * (near_end[0] - far_end[0]),
            far_end[1] + share * (near_end[1] - far_end[1]),
        )
        for share in (far, near)
    ]
    draw.line(points, fill=(222, 182, 60), width=max(1, int(6 * near * scale)))


def _hill(
    draw: ImageDraw.ImageDraw,
    width: int,
    horizon: int,
    lift: float,
    fill: Rgb,
    rng: Random,
) -> None:
    phase, waves = rng.uniform(0, math.tau), rng.uniform(1.0, 2.2)
    edge = [
        (x, horizon - lift * (0.6 + 0.4 * math.sin(phase + waves * math.tau * x / width)))
        for x in range(0, width + 20, 20)
    ]
    draw.polygon([(0, horizon + 2), *edge, (width, horizon + 2)], fill=fill)


def _tree(draw: ImageDraw.ImageDraw, rng: Random, width: int, horizon: int, scale: int) -> None:
    x, size = rng.uniform(0.55, 0.99) * width, rng.uniform(14, 46) * scale
    foot = horizon + size * 0.25
    green = _mixed((52, 84, 50), (110, 120, 60), rng.random())
    draw.rectangle((x - size / 12, foot - size * 0.5, x + size / 12, foot), fill=(80, 64, 48))
    for _ in range(6):
        dx, dy = rng.uniform(-0.4, 0.4) * size, rng.uniform(-1.1, -0.4) * size
        r = size * rng.uniform(0.25, 0.42)
        draw.ellipse((x + dx - r, foot + dy - r, x + dx + r, foot + dy + r), fill=green)


def _face_picture(
    look: FaceLook, scale: int, kinds: dict[str, int], rng: Random
) -> Image.Image:
    """Return the face alone, on nothing, with its damage."""
    per_inch = min(5.4, 236 / max(look.width_in, look.height_in, 24.0)) * scale
    width, height = look.width_in * per_inch, look.height_in * per_inch
    if look.shape is Shape.DIAMOND:
        width = height = look.width_in * math.sqrt(2) * per_inch * 0.82
    image = Image.new("RGBA", (int(width) + 4, int(height) + 4), (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    background, legend = look.background, look.legend
    if Observation.Kind.FADED in kinds:
        background = _mixed(background, (226, 214, 204), 0.25 * kinds[Observation.Kind.FADED])
    outline = _outline(look.shape, width, height)
    draw.polygon(outline, fill=background)
    border = [_towards(point, (width / 2, height / 2), 0.93) for point in outline]
    draw.line([*border, border[0]], fill=legend, width=max(2, int(width / 48)), joint="curve")
    if look.arrow:
        _arrow(draw, look.arrow, width, height, legend)
    else:
        _text(draw, look, width, height, legend)
    _damage(image, kinds, rng)
    return image


def _outline(shape: Shape, width: float, height: float) -> Points:
    if shape is Shape.DIAMOND:
        return [(width / 2, 0), (width, height / 2), (width / 2, height), (0, height / 2)]
    if shape in (Shape.OCTAGON, Shape.CIRCLE):
        count = 8 if shape is Shape.OCTAGON else 40
        turn = math.pi / count
        reach = 0.5 / math.cos(turn) if shape is Shape.OCTAGON else 0.5
        return [
            (
                width / 2 + width * reach * math.cos(turn + math.tau * i / count),
                height / 2 + height * reach * math.sin(turn + math.tau * i / count),
            )
            for i in range(count)
        ]
    if shape is Shape.TRIANGLE_DOWN:
        return [(0, 0), (width, 0), (width / 2, height * 0.87)]
    if shape is Shape.PENTAGON:
        return [
            (width / 2, 0),
            (width, height * 0.4),
            (width, height),
            (0, height),
            (0, height * 0.4),
        ]
    if shape is Shape.PENNANT:
        return [(0, 0), (width, height / 2), (0, height)]
    return [(0, 0), (width, 0), (width, height), (0, height)]


def _text(
    draw: ImageDraw.ImageDraw, look: FaceLook, width: float, height: float, fill: Rgb
) -> None:
    lines = look.text.split("\n") if look.text else []
    if not lines:
        return
    room = {Shape.DIAMOND: 0.5, Shape.TRIANGLE_DOWN: 0.5, Shape.CIRCLE: 0.62}.get(
        look.shape, 0.78
    )
    size = int(min(height * room / len(lines), 0.5 * height))
    while size > 6 and max(draw.textlength(line, _font(size)) for line in lines) > width * room:
        size -= 1
    middle = height * (0.36 if look.shape is Shape.TRIANGLE_DOWN else 0.5)
    top = middle - size * 1.12 * len(lines) / 2
    for number, line in enumerate(lines):
        draw.text(
            (width / 2, top + size * 1.12 * (number + 0.5)),
            line,
            fill=fill,
            font=_font(size),
            anchor="mm",
            stroke_width=max(0, size // 28),
            stroke_fill=fill,
        )


def _arrow(
    draw: ImageDraw.ImageDraw, side: str, width: float, height: float, fill: Rgb
) -> None:
    """Draw a plain arrow to the left or right."""
    way = 1 if side == "R" else -1
    x, y = width / 2, height / 2
    unit = min(width, height) / 10
    tail, tip = x - way * 2.6 * unit, x + way * 2.8 * unit
    draw.line(((tail, y), (tip - way * unit, y)), fill=fill, width=int(1.3 * unit))
    draw.polygon(
        [
            (tip, y),
            (tip - way * 2.2 * unit, y - 1.8 * unit),
            (tip - way * 2.2 * unit, y + 1.8 * unit),
        ],
        fill=fill,
    )


def _damage(image: Image.Image, kinds: dict[str, int], rng: Random) -> None:
    draw = ImageDraw.Draw(image)
    width, height = image.size
    if Observation.Kind.VANDALISED in kinds or Observation.Kind.DAMAGED in kinds:
        for _ in range(4 + 6 * max(kinds.values())):
            x, y = rng.uniform(0.15, 0.85) * width, rng.uniform(0.15, 0.85) * height
            if image.getpixel((int(x), int(y)))[3]:  # type: ignore[index]  # an RGBA picture
                r = width * rng.uniform(0.008, 0.02)
                draw.ellipse(
                    (x - 1.7 * r, y - 1.7 * r, x + 1.7 * r, y + 1.7 * r), fill=(128, 120, 112)
                )
                draw.ellipse((x - r, y - r, x + r, y + r), fill=(20, 20, 20))
    if Observation.Kind.DELAMINATED in kinds:
        patch = [
            (width * 0.98, height * 0.5),
            (width * 0.98, height * 0.98),
            (width * 0.55, height * 0.9),
        ]
        mask = Image.new("L", image.size, 0)
        ImageDraw.Draw(mask).polygon(patch, fill=255)
        metal = Image.new("RGBA", image.size, (178, 180, 182, 255))
        keep = Image.composite(image.getchannel("A"), Image.new("L", image.size, 0), mask)
        image.paste(metal, (0, 0), keep)
    if Observation.Kind.BENT in kinds:
        fold = Image.new("RGBA", image.size, (0, 0, 0, 0))
        corner = [(0, height * 0.55), (width * 0.4, height), (0, height)]
        ImageDraw.Draw(fold).polygon(corner, fill=(40, 40, 44, 150))
        alpha = image.getchannel("A")
        image.alpha_composite(fold)
        image.putalpha(alpha)


def _stand(
    image: Image.Image, panel: Image.Image, face: FacePlan, scale: int, lean_deg: float
) -> None:
    """Put the face on its post, both turned about the post's foot."""
    width, height = image.size
    foot = (int(width * 0.68), int(height * 0.93))
    layer = Image.new("RGBA", image.size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(layer)
    top = int(height * 0.09)
    kind = face.support.support_type
    paint = WOOD if kind == "wood" else GALVANISED
    half = (7 if kind == "wood" else 4) * scale
    offsets = (0,) if panel.width < 260 * scale else (-panel.width // 4, panel.width // 4)
    for offset in offsets:
        x = foot[0] + offset
        draw.rectangle((x - half, top, x + half, foot[1]), fill=(*paint, 255))
        draw.line(((x + half, top), (x + half, foot[1])), fill=(70, 70, 72, 255), width=scale)
    layer.alpha_composite(panel, (foot[0] - panel.width // 2, top + 6 * scale))
    layer = layer.rotate(-lean_deg, Image.Resampling.BILINEAR, center=foot)
    _shadow(image, foot, scale)
    image.paste(layer, (0, 0), layer)


def _shadow(image: Image.Image, foot: tuple[int, int], scale: int) -> None:
    """Darken the ground beside the post's foot, with a soft edge."""
    mask = Image.new("L", (140 * scale, 50 * scale), 0)
    ImageDraw.Draw(mask).ellipse(
        (22 * scale, 18 * scale, 118 * scale, 32 * scale), fill=SHADOW_DEPTH
    )
    mask = mask.filter(ImageFilter.GaussianBlur(4 * scale))
    image.paste((20, 20, 20), (foot[0] - 48 * scale, foot[1] - 24 * scale), mask)


def _branches(image: Image.Image, rng: Random, scale: int, severity: int) -> None:
    draw = ImageDraw.Draw(image)
    width, height = image.size
    for _ in range(26 * (severity + 1)):
        x = width * rng.uniform(0.72, 1.0)
        y = height * rng.uniform(0.02, 0.5)
        r = rng.uniform(8, 24) * scale
        green = _mixed((44, 78, 44), (96, 118, 58), rng.random())
        draw.ellipse((x - r, y - r * 0.7, x + r, y + r * 0.7), fill=green)


def _mark(image: Image.Image) -> None:
    """Write into the corner that this is drawn, not photographed."""
    draw = ImageDraw.Draw(image)
    font = _font(18)
    box_width = int(draw.textlength(MARK, font)) + 16
    draw.rectangle((0, HEIGHT_PX - 28, box_width, HEIGHT_PX), fill=(20, 28, 36))
    draw.text((8, HEIGHT_PX - 25), MARK, fill=(244, 240, 230), font=font)


def _mixed(first: Rgb, second: Rgb, share: float) -> Rgb:
    share = min(1.0, max(0.0, share))
    red, green, blue = (round(a + share * (b - a)) for a, b in zip(first, second, strict=True))
    return red, green, blue


def _towards(
    point: tuple[float, float], middle: tuple[float, float], share: float
) -> tuple[float, float]:
    return (
        middle[0] + share * (point[0] - middle[0]),
        middle[1] + share * (point[1] - middle[1]),
    )

"""What is to be on the truck for some stops: faces, hardware by support, instruments."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.engineering.programme.service_times import WORK_ON_A_FACE
from inventory.engineering.standards.supports import support_types
from inventory.services.programme.crew_work import is_overhead
from inventory.services.programme.pool import NEW_FACE_TASKS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import Position, Sign

_SUPPORT_NAMES = {each.key: each.name for each in support_types()}
MOST_LABELS = 12


@dataclass(slots=True)
class FaceLine:
    """Faces of one code, wording and size; which of them are in stock, by label."""

    code: str
    legend: str
    size: str
    count: int = 0
    in_stock: int = 0
    labels: list[str] = field(default_factory=list)

    @property
    def missing(self) -> int:
        """Return how many are not in stock."""
        return self.count - self.in_stock

    @property
    def name(self) -> str:
        """Return code, wording and size as they are called out."""
        words = [self.code or "code not known", f"'{self.legend}'" if self.legend else ""]
        return " ".join([*(each for each in words if each), self.size])


@dataclass(slots=True)
class HardwareLine:
    """What faces are fixed to: how many supports of a kind, with how many faces."""

    support: str
    supports: int = 0
    faces: int = 0


@dataclass(slots=True)
class Material:
    """What a crew has to have with it."""

    faces: list[FaceLine] = field(default_factory=list)
    hardware: list[HardwareLine] = field(default_factory=list)
    readings: int = 0
    looks: int = 0
    overhead: int = 0

    @property
    def face_count(self) -> int:
        """Return how many new faces go up."""
        return sum(each.count for each in self.faces)

    @property
    def missing(self) -> int:
        """Return how many new faces are not in stock."""
        return sum(each.missing for each in self.faces)


def material_of(stops: Iterable[Any]) -> Material:
    """
    Return the material for stops of packages or of crew days, without a query.

    The stops come with ``position__support`` and ``face``.
    """
    faces: dict[tuple[str, str, str], FaceLine] = {}
    supports: dict[str, set[int]] = {}
    counts: dict[str, int] = {}
    found = Material()
    for stop in stops:
        position: Position = stop.position
        if stop.task in NEW_FACE_TASKS:
            _take_face(faces, position, stop.face)
        if stop.task in WORK_ON_A_FACE and stop.task != "remove":
            kind = position.support.support_type
            supports.setdefault(kind, set()).add(position.support_id)
            counts[kind] = counts.get(kind, 0) + 1
        if stop.task in WORK_ON_A_FACE and is_overhead(position):
            found.overhead += 1
        found.readings += stop.task == "read"
        found.looks += stop.task == "look"
    found.faces = sorted(faces.values(), key=lambda each: (each.code, each.legend, each.size))
    found.hardware = [
        HardwareLine(support_name(kind), len(supports[kind]), counts[kind])
        for kind in sorted(supports)
    ]
    return found


def bring_words(material: Material) -> str:
    """Return the material as a text of lines, for phone and paper."""
    lines = []
    for each in material.faces:
        stock = ""
        if each.labels:
            stock = f" ({', '.join(each.labels[:MOST_LABELS])} in stock)"
        elif each.in_stock:
            stock = f" ({each.in_stock} in stock)"
        missing = f"; {each.missing} NOT in stock" if each.missing else ""
        lines.append(f"{each.count} × {each.name}{stock}{missing}")
    lines += [
        f"Hardware for {_counted(each.faces, 'face')} on {each.supports} × {each.support}"
        for each in material.hardware
    ]
    if material.overhead:
        lines.append(f"Bucket truck: {material.overhead} overhead")
    if material.readings:
        count = _counted(material.readings, "reading")
        lines.append(f"Reading instrument, checked today: {count}")
    if material.looks:
        lines.append(f"For looks by night: {material.looks}")
    return "\n".join(lines)


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def support_name(kind: str) -> str:
    """Return a kind of support as people call it."""
    return _SUPPORT_NAMES.get(kind, kind) if kind else "support of a kind not known"


def _take_face(
    faces: dict[tuple[str, str, str], FaceLine], position: Position, face: Sign | None
) -> None:
    legend = position.legend_text.strip()
    code = " ".join(each for each in (position.sign_code, position.variant) if each)
    key = (code, legend, _size(position, face))
    line = faces.setdefault(key, FaceLine(*key))
    line.count += 1
    if face is not None:
        line.in_stock += 1
        if face.label_id:
            line.labels.append(face.label_id)


def _size(position: Position, face: Sign | None) -> str:
    for each in (face, position):
        if each is not None and each.width_in and each.height_in:
            return f"{each.width_in:g} × {each.height_in:g} in"
    return "size not known"

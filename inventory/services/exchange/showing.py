"""What phones sent, in words: for a person who decides about it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from inventory.engineering.places import distance_m
from inventory.engineering.standards.night_procedures import NightProcedure
from inventory.models import (
    ColourArea,
    DeviceOperation,
    Inspection,
    Instrument,
    InstrumentCheck,
    Observation,
    PackageStop,
    Position,
    Sign,
    StopResult,
    Support,
    WorkPackage,
    WrongDataFlag,
)
from inventory.models.places import Mount
from inventory.services.exchange.naming import NOT_GIVEN, Names, has_label, named

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from inventory.models import Organisation

KIND_WORDS = {
    "inspection": "Inspection",
    "check": "Instrument check",
    "install": "Face put up",
    "remove": "Face taken down",
    "move_support": "Support moved",
    "add_sign": "Sign added",
    "flag_record": "Record said to be wrong",
    "stop": "Stop of a work package",
    "add_work": "Work added on the road",
    "discard": "Entry discarded on the phone",
}
Row = tuple[str, str]


@dataclass(frozen=True)
class Shown:
    """One operation as a person reads it."""

    operation: DeviceOperation
    kind: str
    rows: list[Row]
    sign: Sign | None
    payload: dict[str, Any]

    @property
    def is_waiting(self) -> bool:
        """Return whether it waits only for another operation, not for a decision."""
        return self.operation.code == "waits"

    @property
    def is_conflict(self) -> bool:
        """Return whether it contradicts what is on record by now."""
        return self.operation.code == "conflict"


@dataclass(frozen=True)
class Versions:
    """What is on record now beside what a phone says, line by line."""

    rows: list[tuple[str, str, str]] = field(default_factory=list)


def payload_of(operation: DeviceOperation) -> dict[str, Any]:
    """Return what an operation says, as its kind reads it."""
    payload = json.loads(operation.content).get("payload")
    return payload if isinstance(payload, dict) else {}


def show(operations: Sequence[DeviceOperation], organisation: Organisation) -> list[Shown]:
    """Return operations in words; the number of queries does not grow with them."""
    payloads = [payload_of(each) for each in operations]
    names = Names(organisation, payloads, operations)
    return [
        Shown(
            operation=each,
            kind=KIND_WORDS.get(each.kind, f"'{each.kind}', not known here"),
            rows=_rows(each.kind, payload, names),
            sign=names.sign_of(each, payload),
            payload=payload,
        )
        for each, payload in zip(operations, payloads, strict=True)
    ]


# --- one kind after the other ---------------------------------------------------------------


def _rows(kind: str, payload: Mapping[str, Any], names: Names) -> list[Row]:
    """Return what a payload says, line by line; of an unknown kind, as it was sent."""
    maker = _ROWS_OF.get(kind)
    try:
        rows = maker(payload, names) if maker is not None else None
    except (AttributeError, KeyError, TypeError, ValueError):
        rows = None  # not of the shape its kind has: shown as it was sent
    if rows is None:
        rows = [(str(name), as_text(value)) for name, value in payload.items()]
    return [(name, words) for name, words in rows if words]


def _inspection(payload: Mapping[str, Any], names: Names) -> list[Row]:
    rows = [
        ("Sign", names.words(payload.get("sign"), Sign)),
        ("How", _choice(Inspection.How, payload.get("how"))),
        ("Surface", _choice(Inspection.SurfaceState, payload.get("surface_state"))),
        ("Instrument", names.number(payload.get("instrument_id"), Instrument)),
    ]
    rows += [
        (f"{str(each['color']).replace('-', ' ').capitalize()}", _values(each))
        for each in payload.get("reading_sets") or []
    ]
    rows += [("Seen", _seen(each)) for each in payload.get("observations") or []]
    rating = payload.get("visual_rating")
    if rating:
        word = "adequate" if rating["is_adequate"] else "not adequate"
        rows.append(("By night", f"{word} ({NightProcedure(rating['procedure']).words})"))
        rows += [
            (str(name).replace("_", " ").capitalize(), as_text(value))
            for name, value in (rating.get("evidence") or {}).items()
        ]
    if payload.get("corrects") is not None:
        rows.append(("Corrects", names.words(payload["corrects"], Inspection)))
    if payload.get("is_confirmed"):
        rows.append(("Unlikely values", "confirmed by the person who read them"))
    return [*rows, ("Note", as_text(payload.get("note") or ""))]


def _check(payload: Mapping[str, Any], names: Names) -> list[Row]:
    return [
        ("Instrument", names.number(payload.get("instrument_id"), Instrument)),
        ("When", _choice(InstrumentCheck.Moment, payload.get("moment"))),
        ("Reference", f"{payload.get('reference_ra_cd_lx_m2')} cd/lx/m²"),
        ("Shown", f"{payload.get('shown_ra_cd_lx_m2')} cd/lx/m²"),
    ]


def _install(payload: Mapping[str, Any], names: Names) -> list[Row]:
    return [
        ("Place", names.words(payload.get("position"), Position)),
        ("Face", _face(payload.get("face"), names)),
        ("Put up on", as_text(payload.get("installed_on"))),
        ("In place of", names.words(payload.get("replaces"), Sign)),
        (
            "Why the old one came down",
            _choice(Sign.RemovalReason, payload.get("removal_reason")),
        ),
        ("Note on the old one", as_text(payload.get("removed_note") or "")),
    ]


def _remove(payload: Mapping[str, Any], names: Names) -> list[Row]:
    return [
        ("Sign", names.words(payload.get("sign"), Sign)),
        ("Taken down on", as_text(payload.get("removed_on"))),
        ("Why", _choice(Sign.RemovalReason, payload.get("reason"))),
        ("Note", as_text(payload.get("note") or "")),
    ]


def _move_support(payload: Mapping[str, Any], names: Names) -> list[Row]:
    return [
        ("Support", names.words(payload.get("support"), Support)),
        ("To", _point(payload)),
        ("Why", as_text(payload.get("reason") or "")),
    ]


def _add_sign(payload: Mapping[str, Any], names: Names) -> list[Row]:
    support = payload.get("support")
    new = support.get("new") if isinstance(support, dict) else None
    where = f"a new one at {_point(new)}" if new else names.words(support, Support)
    code = f"{payload.get('sign_code') or 'not known'} {payload.get('variant') or ''}"
    size = [payload.get("width_in"), payload.get("height_in")]
    colours = [_colour(each) for each in payload.get("colours") or []]
    facing = payload.get("facing_deg")
    return [
        ("Support", where),
        ("Code", code.strip()),
        ("Legend", as_text(payload.get("legend_text") or "")),
        ("Size", _size(size)),
        ("Facing", "not known" if facing is None else f"{facing:g}°"),
        ("Mount", _choice(Mount, payload.get("mount"))),
        ("Order on the support", as_text(payload.get("order_on_support") or "")),
        ("Colours", "; ".join(colours) or "not known"),
        ("Label", as_text(payload.get("label_id") or "")),
        ("Note", as_text(payload.get("note") or "")),
    ]


def _flag_record(payload: Mapping[str, Any], names: Names) -> list[Row]:
    return [
        ("Sign", names.words(payload.get("sign"), Sign)),
        ("What is wrong", _choice(WrongDataFlag.Field, payload.get("field"))),
        ("Said", as_text(payload.get("said"))),
    ]


def _stop(payload: Mapping[str, Any], names: Names) -> list[Row]:
    return [
        ("Stop", names.number(payload.get("stop_id"), PackageStop)),
        ("Outcome", _choice(StopResult.Outcome, payload.get("outcome"))),
        ("Why", as_text(payload.get("reason") or "")),
    ]


def _add_work(payload: Mapping[str, Any], names: Names) -> list[Row]:
    outcome = payload.get("outcome")
    return [
        ("Package", names.number(payload.get("package_id"), WorkPackage)),
        ("Place", names.words(payload.get("position"), Position)),
        ("Work", _choice(PackageStop.Task, payload.get("task"))),
        ("Note", as_text(payload.get("note") or "")),
        ("Outcome", _choice(StopResult.Outcome, outcome) or "still to be done"),
        ("Why", as_text(payload.get("reason") or "")),
    ]


_ROWS_OF: dict[str, Callable[[Mapping[str, Any], Names], list[Row]]] = {
    "inspection": _inspection,
    "check": _check,
    "install": _install,
    "remove": _remove,
    "move_support": _move_support,
    "add_sign": _add_sign,
    "flag_record": _flag_record,
    "stop": _stop,
    "add_work": _add_work,
}


# --- both versions --------------------------------------------------------------------------


def versions_of(shown: Shown, organisation: Organisation) -> Versions | None:
    """Return what is on record beside what a phone says, where the two contradict."""
    if not shown.is_conflict:
        return None
    names = Names(organisation, [shown.payload])
    maker = _VERSIONS_OF.get(shown.operation.kind)
    return Versions(maker(shown, names)) if maker is not None else None


def _install_versions(shown: Shown, names: Names) -> list[tuple[str, str, str]]:
    payload = shown.payload
    place = names.find(payload.get("position"), Position)
    there = names.standing_at(place) if place is not None else None
    return [
        (
            "Face in this place",
            "none" if there is None else named(there),
            _face(payload.get("face"), names),
        ),
        ("Put up on", _day(there and there.installed_on), _day(payload.get("installed_on"))),
        ("Recorded by", _recorded_by(there, "install sign"), _sent_by(shown)),
    ]


def _remove_versions(shown: Shown, names: Names) -> list[tuple[str, str, str]]:
    payload = shown.payload
    sign = names.find(payload.get("sign"), Sign)
    if sign is None:
        return []
    return [
        ("State", sign.get_state_display(), Sign.State.REMOVED.label),
        ("Taken down on", _day(sign.removed_on), _day(payload.get("removed_on"))),
        (
            "Why",
            sign.get_removal_reason_display() or NOT_GIVEN,
            _choice(Sign.RemovalReason, payload.get("reason")),
        ),
        ("Recorded by", _recorded_by(sign, "remove sign"), _sent_by(shown)),
    ]


def _move_versions(shown: Shown, names: Names) -> list[tuple[str, str, str]]:
    payload = shown.payload
    support = names.find(payload.get("support"), Support)
    if support is None:
        return []
    last = support.moves.select_related("moved_by").order_by("moved_at", "pk").last()
    clock = shown.operation.organisation.clock_words
    here = (support.latitude_deg, support.longitude_deg)
    metres = float(distance_m(*here, payload["latitude_deg"], payload["longitude_deg"]))
    return [
        (
            "Point",
            _point(
                {
                    "latitude_deg": here[0],
                    "longitude_deg": here[1],
                    "accuracy_m": support.accuracy_m,
                }
            ),
            f"{_point(payload)}: {metres:,.0f} m away",
        ),
        (
            "Put there at",
            "when it was first recorded" if last is None else clock(last.moved_at),
            clock(shown.operation.corrected_at),
        ),
        (
            "Recorded by",
            "not known" if last is None or last.moved_by is None else str(last.moved_by),
            _sent_by(shown),
        ),
    ]


_VERSIONS_OF: dict[str, Callable[[Shown, Names], list[tuple[str, str, str]]]] = {
    "install": _install_versions,
    "remove": _remove_versions,
    "move_support": _move_versions,
}


def _recorded_by(sign: Sign | None, verb: str) -> str:
    """Return who recorded a step of a face's life, where the logbook says so."""
    if sign is None:
        return NOT_GIVEN
    entry = sign.logbook.filter(verb=verb).select_related("actor", "organisation").first()
    if entry is None:
        return "not in the logbook"
    who = str(entry.actor) if entry.actor is not None else "nobody named"
    return f"{who}, stored {entry.organisation.clock_words(entry.at)}"


def _sent_by(shown: Shown) -> str:
    operation = shown.operation
    who = str(operation.person) if operation.person is not None else "a person not known here"
    clock = operation.organisation.clock_words
    recorded, arrived = clock(operation.corrected_at), clock(operation.received_at)
    return f"{who}, recorded {recorded}, arrived {arrived}"


# --- small words ----------------------------------------------------------------------------


def as_text(value: Any) -> str:
    """Return a value as text; what has no words of its own is spelt out."""
    if value is None:
        return NOT_GIVEN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int | float):
        return str(value)
    return json.dumps(value, ensure_ascii=False)


def _choice(choices: Any, value: Any) -> str:
    """Return the words of a choice; empty where none was made, itself where it is none."""
    if value in (None, ""):
        return ""
    return str(dict(choices.choices).get(value, value))


def _values(reading_set: Mapping[str, Any]) -> str:
    values = ", ".join(str(each) for each in reading_set.get("values") or [])
    angles = (
        f"{reading_set.get('observation_angle_deg')}°, "
        f"{str(reading_set.get('entrance_angle_deg')).replace('-', '−')}°"
    )
    return f"{values} cd/lx/m² (at {angles})"


def _seen(observation: Mapping[str, Any]) -> str:
    kind = _choice(Observation.Kind, observation.get("kind"))
    severity = _choice(Observation.Severity, observation.get("severity"))
    note = f": {observation['note']}" if observation.get("note") else ""
    return f"{kind}, {severity}{note}"


def _face(face: Any, names: Names) -> str:
    if has_label(face):
        return names.labelled(str(face["label"]))
    return names.words(face, Sign)


def _colour(area: Mapping[str, Any]) -> str:
    part = _choice(ColourArea.Part, area.get("part"))
    kind = f", Type {area['sheeting_type']}" if area.get("sheeting_type") else ""
    optics = area.get("optics")
    how = f", {optics}" if optics not in (None, "", ColourArea.Optics.UNKNOWN) else ""
    return f"{part} {area.get('color') or 'of unknown colour'}{kind}{how}"


def _point(of: Mapping[str, Any]) -> str:
    good_to = of.get("accuracy_m")
    known = "" if good_to is None else f", good to {good_to:g} m"
    return f"{of['latitude_deg']:.6f}, {of['longitude_deg']:.6f}".replace("-", "−") + known


def _size(sides: Sequence[float | None]) -> str:
    if not any(sides):
        return "not known"
    return " × ".join("?" if side is None else f"{side:g}" for side in sides) + " in"


def _day(day: Any) -> str:
    return day.isoformat() if isinstance(day, date) else as_text(day or None)

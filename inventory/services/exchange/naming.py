"""The records that operations name, looked up together and put into words."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from inventory.engineering.production.labels import read_label
from inventory.errors import OutOfRangeError
from inventory.models import (
    DeviceOperation,
    Inspection,
    Instrument,
    PackageStop,
    Position,
    Sign,
    Support,
    WorkPackage,
)
from inventory.services.exchange import shapes

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from inventory.models import Organisation

REFERENCES: dict[str, type[Any]] = {
    "sign": Sign,
    "replaces": Sign,
    "position": Position,
    "support": Support,
    "corrects": Inspection,
}
NUMBERS: dict[str, type[Any]] = {
    "instrument_id": Instrument,
    "stop_id": PackageStop,
    "package_id": WorkPackage,
}
NOT_GIVEN = "not given"


class Names:
    """The records that payloads name, looked up together."""

    def __init__(
        self,
        organisation: Organisation,
        payloads: Sequence[Mapping[str, Any]],
        operations: Sequence[DeviceOperation] = (),
    ) -> None:
        keys: dict[type[Any], set[int]] = defaultdict(set)
        for payload in payloads:
            for name, model in REFERENCES.items():
                keys[model].update(_key_of(payload.get(name)))
            face = payload.get("face")
            if isinstance(face, dict):
                keys[Sign].update(_whole(face.get("id")))
            for name, model in NUMBERS.items():
                keys[model].update(_whole(payload.get(name)))
        for each in operations:
            keys[Sign].update(_whole(each.result.get("sign_id")))
        self._found: dict[type[Any], dict[int, Any]] = {}
        for model, wanted in keys.items():
            rows = model.objects.owned_by(organisation)
            if model in (Sign, Position):
                path = "position__support" if model is Sign else "support"
                rows = rows.select_related(path, f"{path}__road")
            elif model is Inspection:
                rows = rows.select_related("sign")
            self._found[model] = rows.in_bulk(sorted(wanted)) if wanted else {}
        places, supports = self._found.get(Position, {}), self._found.get(Support, {})
        standing = Sign.objects.filter(state=Sign.State.INSTALLED).order_by("-pk")
        here = standing.filter(position__in=places)
        self._at = {each.position_id: each for each in here} if places else {}
        on = standing.filter(position__support__in=supports).select_related("position")
        self._on = (
            {each.position.support_id: each for each in on if each.position is not None}
            if supports
            else {}
        )
        self._labelled = _labelled(organisation, payloads)

    def words(self, ref: Any, model: type[Any]) -> str:
        """Return a reference in words."""
        if isinstance(ref, dict) and "operation" in ref:
            return f"what operation {ref['operation']} makes"
        for key in _key_of(ref):
            found = self._found.get(model, {}).get(key)
            return str(found) if found is not None else f"number {key}, not on record here"
        return NOT_GIVEN if ref is None else shapes.shown(ref)

    def number(self, key: Any, model: type[Any]) -> str:
        """Return a record named by its bare number in words."""
        return NOT_GIVEN if key is None else self.words({"id": key}, model)

    def find(self, ref: Any, model: type[Any]) -> Any:
        """Return the record a reference names, or ``None``."""
        return next((self._found.get(model, {}).get(key) for key in _key_of(ref)), None)

    def sign_of(self, operation: DeviceOperation, payload: Mapping[str, Any]) -> Sign | None:
        """Return the sign that an operation is about, where it is on record."""
        for key in _whole(operation.result.get("sign_id")):
            return self._found[Sign].get(key)
        sign: Sign | None = self.find(payload.get("sign"), Sign)
        place = self.find(payload.get("position"), Position)
        support = self.find(payload.get("support"), Support)
        return (
            sign
            or (self._at.get(place.pk) if place is not None else None)
            or (self._on.get(support.pk) if support is not None else None)
        )

    def labelled(self, label: str) -> str:
        """Return a face in words by the label that was read on it."""
        face = self._labelled.get(_label(label))
        return f"label {label}" if face is None else named(face)

    def standing_at(self, place: Position) -> Sign | None:
        """Return the face that stands in a place now."""
        return self._at.get(place.pk)


def _labelled(
    organisation: Organisation, payloads: Sequence[Mapping[str, Any]]
) -> dict[str, Sign]:
    """Return the agency's faces, and those printed for it, that payloads name by label."""
    faces = [payload.get("face") for payload in payloads]
    labels = {_label(str(face["label"])) for face in faces if face and has_label(face)}
    if not labels:
        return {}
    usable = Q(owner=organisation) | Q(
        owner=None, layout_face__line__order__agency=organisation
    )
    return {
        each.label_id: each
        for each in Sign.objects.filter(usable, label_id__in=labels)
        if each.label_id is not None
    }


def has_label(face: Any) -> bool:
    """Return whether a face is named by the label that was read on it."""
    return isinstance(face, dict) and bool(face.get("label"))


def _label(typed: str) -> str:
    try:
        return read_label(typed)
    except OutOfRangeError:
        return typed


def named(sign: Sign) -> str:
    """Return a face in words, by its label too where it has one."""
    return f"{sign}, label {sign.label_id}" if sign.label_id else str(sign)


def _key_of(ref: Any) -> Iterable[int]:
    return _whole(ref.get("id")) if isinstance(ref, dict) else ()


def _whole(value: Any) -> Iterable[int]:
    try:
        return (shapes.whole({"of": value}, "of", least=1),)
    except OutOfRangeError:
        return ()

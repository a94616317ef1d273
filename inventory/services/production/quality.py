"""A new face is checked at the shop: readings against new sheeting, look, size, legend."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from statistics import mean
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.engineering.inspection.readings import parse_reading
from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.new_sheeting import new_sheeting_minimum
from inventory.engineering.standards.vocabulary import Color, Shape
from inventory.errors import NoPublishedValueError, OutOfRangeError, StateConflictError
from inventory.models import ColourArea, FaceCheck, Sign
from inventory.services.installation import remove_sign
from inventory.services.logbook import log
from inventory.services.production.records import record_quality_reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from inventory.models import User

OBSERVATION_DEG, ENTRANCE_DEG = Decimal("0.2"), Decimal("-4.0")
MOST_READINGS = 12
MOST_FACES = 500


@dataclass(frozen=True)
class Seen:
    """What was looked at: whether look, size and legend are right, and a note."""

    is_look_right: bool = True
    is_size_right: bool = True
    is_legend_right: bool = True
    note: str = ""

    @property
    def is_right(self) -> bool:
        """Return whether nothing is wrong with it."""
        return self.is_look_right and self.is_size_right and self.is_legend_right


@transaction.atomic
def check_face(
    *,
    sign: Sign,
    seen: Seen,
    readings: Mapping[str, Sequence[str]] | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> FaceCheck:
    """
    Record what was found of a new face; one that does not pass is lost and printed again.

    ``readings`` has by colour what the instrument showed, as typed, at 0.2° and −4.0°. Their
    mean is compared with the minimum of new sheeting of the face's type and colour; where none
    is published, as for printed colours, that is said and nothing is passed by it.
    """
    now = now or timezone.now()
    sign = Sign.objects.select_for_update(of=("self",)).select_related("maker").get(pk=sign.pk)
    _check_in_shop(sign)
    typed = {color: list(values) for color, values in (readings or {}).items() if values}
    for color, values in typed.items():
        if len(values) > MOST_READINGS:
            msg = f"{len(values)} readings of {color} are too many; give up to {MOST_READINGS}."
            raise OutOfRangeError(msg)
        for value in values:
            record_quality_reading(sign=sign, color=color, typed=value, by=by, now=now)
    areas = {area.color: area for area in sign.colour_areas.order_by("-number")}
    told = [_compared(areas[color], values) for color, values in sorted(typed.items())]
    outcome = _outcome(told)
    is_passed = seen.is_right and outcome != FaceCheck.Readings.BELOW
    if not is_passed and not seen.note.strip() and outcome != FaceCheck.Readings.BELOW:
        msg = "Say what is wrong with the face; it is taken out of stock and printed again."
        raise OutOfRangeError(msg)
    check: FaceCheck = FaceCheck.objects.create(
        sign=sign,
        is_look_right=seen.is_look_right,
        is_size_right=seen.is_size_right,
        is_legend_right=seen.is_legend_right,
        readings=outcome,
        colors=told,
        is_passed=is_passed,
        note=seen.note.strip()[:200],
        lost_ft2=None if is_passed else area_lost_ft2(sign) or 0.0,
        checked_at=now,
        checked_by=by,
    )
    if not is_passed:
        maker = sign.maker
        remove_sign(
            sign=sign,
            removed_on=maker.day_of(now) if maker else now.date(),
            reason=Sign.RemovalReason.OTHER,
            note=f"Did not pass the check: {_wrong_words(check)}"[:200],
            by=by,
            now=now,
        )
    return check


@transaction.atomic
def pass_faces(
    *, signs: Sequence[Sign], by: User | None = None, now: datetime | None = None
) -> int:
    """Record that faces were looked at and nothing is wrong; none of them was read."""
    now = now or timezone.now()
    if not signs or len(signs) > MOST_FACES:
        msg = f"{len(signs)} faces cannot be passed at once; pick 1 to {MOST_FACES}."
        raise OutOfRangeError(msg)
    rows = Sign.objects.select_for_update(of=("self",)).select_related("maker")
    locked = list(rows.filter(pk__in=[sign.pk for sign in signs]).order_by("pk"))
    for sign in locked:
        _check_in_shop(sign)
    FaceCheck.objects.bulk_create(
        FaceCheck(
            sign=sign,
            is_look_right=True,
            is_size_right=True,
            is_legend_right=True,
            readings=FaceCheck.Readings.NONE,
            is_passed=True,
            checked_at=now,
            checked_by=by,
        )
        for sign in locked
    )
    shop = locked[0].maker
    if shop is not None:
        log(
            organisation=shop,
            actor=by,
            verb="check faces",
            text=f"{len(locked)} faces looked at: look, size and legend right, not read.",
            at=now,
        )
    return len(locked)


def newest_checks(signs: Iterable[Sign]) -> dict[int, FaceCheck]:
    """Return the newest check of each face that has one, by its key, in one query."""
    rows = FaceCheck.objects.filter(sign__in=[sign.pk for sign in signs])
    return {
        check.sign_id: check
        for check in rows.select_related("checked_by").order_by("checked_at", "pk")
    }


def faults_of(check: FaceCheck) -> list[str]:
    """Return what was wrong with a face at its check, in words."""
    return [
        words
        for is_right, words in (
            (check.is_look_right, "look"),
            (check.is_size_right, "size"),
            (check.is_legend_right, "legend"),
            (check.readings != FaceCheck.Readings.BELOW, "readings below new sheeting"),
        )
        if not is_right
    ]


def _check_in_shop(sign: Sign) -> None:
    if sign.maker is None or sign.owner_id is not None or sign.state != Sign.State.IN_STOCK:
        msg = (
            f"Face {sign.label_id or sign.pk} is not in the shop's stock any more; what is "
            "found of it now is an inspection of the agency's."
        )
        raise StateConflictError(msg)


def _compared(area: ColourArea, values: Sequence[str]) -> dict[str, Any]:
    """Return a colour's mean and what it is compared with, in words that can be stored."""
    found = mean(parse_reading(value) for value in values)
    told: dict[str, Any] = {
        "color": area.color,
        "count": len(values),
        "mean_ra_cd_lx_m2": f"{found:.1f}",
    }
    if area.colouring != ColourArea.Colouring.SHEETING:
        return told | {
            "verdict": FaceCheck.Readings.NOT_KNOWN.value,
            "why": "no minimum is published for a colour that is printed",
        }
    try:
        row = new_sheeting_minimum(
            area.sheeting_type, Color(area.color), OBSERVATION_DEG, ENTRANCE_DEG
        )
    except (NoPublishedValueError, ValueError) as error:
        return told | {"verdict": FaceCheck.Readings.NOT_KNOWN.value, "why": str(error)}
    is_met = found >= row.minimum_ra_cd_lx_m2
    verdict = FaceCheck.Readings.MET if is_met else FaceCheck.Readings.BELOW
    return told | {
        "minimum_ra_cd_lx_m2": f"{row.minimum_ra_cd_lx_m2:g}",
        "source": row.source,
        "is_verified": row.is_verified,
        "verdict": verdict.value,
    }


def _outcome(told: Sequence[dict[str, Any]]) -> FaceCheck.Readings:
    verdicts = {each["verdict"] for each in told}
    for one in (FaceCheck.Readings.BELOW, FaceCheck.Readings.NOT_KNOWN, FaceCheck.Readings.MET):
        if one.value in verdicts:
            return one
    return FaceCheck.Readings.NONE


def area_lost_ft2(sign: Sign) -> float | None:
    """Return the sheeting lost with a face, its rectangle; none if its size is not known."""
    if sign.width_in is None or sign.height_in is None:
        return None
    line = getattr(getattr(sign, "layout_face", None), "line", None)
    shape = Shape(line.shape) if line is not None and line.shape else None
    return face_outline(shape, sign.width_in, sign.height_in).rectangle_area_ft2


def _wrong_words(check: FaceCheck) -> str:
    return ", ".join(faults_of(check)) + (f"; {check.note}" if check.note else "")

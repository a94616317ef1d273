"""Places and the signs in them as a phone carries them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import F, OuterRef, Subquery, Window
from django.db.models.functions import RowNumber

from inventory.engineering.assessment.carried import carry_readings
from inventory.engineering.inspection.condition import find_condition
from inventory.engineering.inspection.readings import decimal_words, reduce_readings
from inventory.engineering.inspection.vocabulary import Severity
from inventory.models import (
    Assessment,
    ElementAssessment,
    Inspection,
    Observation,
    Photo,
    Sign,
    Standing,
    VisualRating,
)
from inventory.services.exchange.versions import position_version
from inventory.services.installation import asked_for
from inventory.services.judging import gather, sign_type_of
from inventory.services.marks import mark_of_standing
from inventory.services.relinks import relinked_to
from inventory.services.seen import observed_on
from inventory.services.sign_faces import local_types_of, looks_of_position, looks_of_sign
from inventory.units import partial_date

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from decimal import Decimal

    from inventory.engineering.assessment.face import ReadingSet
    from inventory.engineering.standards.local import CodeBook
    from inventory.models import Organisation, Position
    from inventory.services.field.carried_faces import CarriedFaces

MOST_PHOTOS = 2
MOST_VISITS = 5


class Judged(NamedTuple):
    """What an assessment says of one colour."""

    level: Decimal | None
    verdict: str


def carry_positions(
    organisation: Organisation,
    positions: Sequence[Position],
    signs: Sequence[Sign],
    book: CodeBook,
    faces: CarriedFaces,
) -> list[dict[str, Any]]:
    """Return places with what they ask for, and the version an action there starts from."""
    local_types = local_types_of(organisation)
    installed = {each.position_id: each for each in signs}
    return [
        {
            "id": each.pk,
            "support_id": each.support_id,
            "code": each.sign_code,
            "name": _name(each.sign_code, book),
            "variant": each.variant,
            "legend_text": each.legend_text,
            "width_in": each.width_in,
            "height_in": each.height_in,
            "facing_deg": each.facing_deg,
            "mount": each.mount,
            "order_on_support": each.order_on_support,
            "parent_id": each.parent_id,
            "is_retired": each.is_retired,
            "asks": _asks(each, book),
            "version": position_version(each, installed.get(each.pk), each.support),
            "sign_id": installed[each.pk].pk if each.pk in installed else None,
            "drawing": faces.drawing_of(looks_of_position(each, local_types)),
        }
        for each in positions
    ]


def carry_signs(
    organisation: Organisation, signs: Sequence[Sign], book: CodeBook, faces: CarriedFaces
) -> list[dict[str, Any]]:
    """Return signs with how they stand, what was read and seen last, and what is judged."""
    ids = [each.pk for each in signs]
    local_types = local_types_of(organisation)
    standings = {row.sign_id: row for row in Standing.objects.filter(sign__in=ids)}
    judged = _judged_of(ids)
    relinked = relinked_to(ids)
    damage, photos = observed_on(ids, relinked), _photos_of(ids)
    history = _visits_of(ids, relinked, organisation)
    return [
        {
            "id": sign.pk,
            "position_id": sign.position_id,
            **carry_face(sign),
            "state": sign.state,
            "name": _name(sign.sign_code, book),
            "installed_on": _day(sign.installed_on, sign.installed_precision),
            "drawing": faces.drawing_of(looks_of_sign(sign, local_types)),
            "plan": faces.plan_of(gathered.face),
            "colours": faces.colours_of(gathered.face),
            "standing": _standing(standings.get(sign.pk)),
            "readings": carry_readings(gathered.readings),
            "last_readings": _last_readings(gathered.readings, judged[sign.pk]),
            "damage": _damage(damage[sign.pk], organisation),
            "photo_ids": photos[sign.pk],
            "history": history[sign.pk],
        }
        for sign, gathered in zip(
            signs, gather(signs, book, ZoneInfo(organisation.time_zone)), strict=True
        )
    ]


def carry_face(sign: Sign) -> dict[str, Any]:
    """Return what a face is, wherever it is."""
    return {
        "label_id": sign.label_id,
        "code": sign.sign_code,
        "variant": sign.variant,
        "legend_text": sign.legend_text,
        "width_in": sign.width_in,
        "height_in": sign.height_in,
        "fabricated_on": _day(sign.fabricated_on, sign.fabricated_precision),
    }


def _day(day: date | None, precision: str) -> str | None:
    """Return a date as far as it is known."""
    return None if day is None else partial_date(day, precision)


def _name(code: str, book: CodeBook) -> str:
    found = sign_type_of(code, book)
    return found.name if found is not None else ""


def _asks(position: Position, book: CodeBook) -> dict[str, Any]:
    """Return what a face has to be to fit, as putting one up checks it."""
    asked = asked_for(position, book)
    return {
        "code": asked.code,
        "variant": asked.variant,
        "legend_text": position.legend_text if position.is_custom_legend else None,
        "wording": "" if position.is_custom_legend else position.legend_text,
        "width_in": asked.size and asked.size.width_in,
        "height_in": asked.size and asked.size.height_in,
        "basis": asked.size.basis if asked.size else "",
    }


def _standing(standing: Standing | None) -> dict[str, Any] | None:
    """Return how a sign stands; ``None`` for one that was never judged."""
    if standing is None:
        return None
    mark = mark_of_standing(standing)
    return {
        "mark": mark.key,
        "word": mark.word,
        "reason": standing.reason,
        "verdict": standing.verdict,
        "is_due": standing.is_due,
        "due_reason": standing.due_reason,
        "forecast_due_on": standing.forecast_due_on,
    }


def _judged_of(sign_ids: Sequence[int]) -> dict[int, dict[str, Judged]]:
    """Return the level and verdict of each colour in each sign's newest assessment."""
    newest = Assessment.objects.filter(sign=OuterRef("pk")).order_by("-assessed_at", "-pk")
    chosen = Sign.objects.filter(pk__in=sign_ids).order_by("pk")
    keys = list(chosen.values_list(Subquery(newest.values("pk")[:1]), flat=True))
    found: dict[int, dict[str, Judged]] = defaultdict(dict)
    rows = ElementAssessment.objects.filter(assessment__in=[key for key in keys if key])
    for sign_id, color, level, verdict in rows.order_by("assessment", "number").values_list(
        "assessment__sign", "color", "level", "verdict"
    ):
        found[sign_id].setdefault(color, Judged(level, verdict))
    return found


def _last_readings(
    sets: Sequence[ReadingSet], judged: dict[str, Judged]
) -> list[dict[str, Any]]:
    """Return the mean of the newest visit of each colour, beside the level that holds."""
    newest: dict[str, list[ReadingSet]] = {}
    for each in sets:  # newest first within a colour
        same = newest.setdefault(each.color.value, [])
        if not same or same[0].visit == each.visit:
            same.append(each)
    return [_last_reading(color, visit, judged.get(color)) for color, visit in newest.items()]


def _last_reading(
    color: str, visit: Sequence[ReadingSet], judged: Judged | None
) -> dict[str, Any]:
    reduced = reduce_readings(value for each in visit for value in each.values)
    unusable = visit[0].reason_not_judged
    level = judged.level if judged is not None else None
    return {
        "color": color,
        "mean": decimal_words(reduced.mean),
        "count": reduced.count,
        "taken_on": f"{visit[0].taken_at:%Y-%m-%d}",
        "level": None if level is None else f"{level.normalize():f}",
        "verdict": None if judged is None or unusable else judged.verdict,
        "not_judged": unusable,
    }


def _damage(observed: Any, organisation: Organisation) -> list[dict[str, Any]]:
    """Return the damage that still stands, worst first."""
    return [
        {
            "kind": each.kind,
            "severity": int(each.severity),
            "words": each.words,
            "seen_on": organisation.day_of(each.taken_at).isoformat(),
        }
        for each in find_condition(observed).standing
        if each.severity is not Severity.NONE
    ]


def _photos_of(sign_ids: Sequence[int]) -> dict[int, list[int]]:
    rank = Window(
        RowNumber(), partition_by=F("sign"), order_by=(F("recorded_at").desc(), F("pk").desc())
    )
    rows = Photo.objects.filter(sign__in=sign_ids).annotate(rank=rank)
    photos: dict[int, list[int]] = defaultdict(list)
    for sign_id, photo_id in (
        rows.filter(rank__lte=MOST_PHOTOS).order_by("sign", "rank").values_list("sign", "pk")
    ):
        photos[sign_id].append(photo_id)
    return photos


def _visits_of(
    sign_ids: Sequence[int], relinked: dict[int, int], organisation: Organisation
) -> dict[int, list[dict[str, str]]]:
    """Return the newest visits of each sign in words, those that were put right left out."""
    rank = Window(
        RowNumber(), partition_by=F("sign"), order_by=(F("taken_at").desc(), F("pk").desc())
    )
    rows = Inspection.objects.filter(corrections__isnull=True).order_by("-taken_at", "-pk")
    columns = ("pk", "sign", "taken_at", "how", "note")
    own = rows.filter(sign__in=sign_ids).annotate(rank=rank).filter(rank__lte=MOST_VISITS)
    visits = list(own.values_list(*columns))
    if relinked:
        # What was seen on a duplicate counts for the sign that is kept.
        for pk, _duplicate, *rest in rows.filter(pk__in=list(relinked)).values_list(*columns):
            visits.append((pk, relinked[pk], *rest))
        visits.sort(key=lambda visit: (visit[2], visit[0]), reverse=True)
    keys = [pk for pk, *_rest in visits]
    seen: dict[int, list[str]] = defaultdict(list)
    for visit, is_adequate in (
        VisualRating.objects.filter(inspection__in=keys)
        .order_by("pk")
        .values_list("inspection", "is_adequate")
    ):
        seen[visit].append("adequate" if is_adequate else "not adequate")
    for each in Observation.objects.filter(inspection__in=keys).order_by("pk"):
        seen[each.inspection_id].append(str(each))
    history: dict[int, list[dict[str, str]]] = defaultdict(list)
    for pk, sign_id, taken_at, how, note in visits:
        if len(history[sign_id]) == MOST_VISITS:
            continue
        words = [Inspection.How(how).label, *seen[pk], *([note] if note else [])]
        history[sign_id].append(
            {"on": organisation.day_of(taken_at).isoformat(), "words": ": ".join(words)}
        )
    return history

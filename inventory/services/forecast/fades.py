"""How long colours last before they fade, from what was seen on the agency's own faces."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.engineering.forecast.fade import FadeLife, FadeSource, fade_life, fading_color
from inventory.engineering.standards.vocabulary import Color
from inventory.models import ColourArea, Sign, SignForecast
from inventory.services.forecast.expected_lives import expected_lives
from inventory.services.forecast.fade_looks import fade_looks
from inventory.services.forecast.record_days import recorded_faces

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date, datetime

    from inventory.models import Organisation
    from inventory.services.forecast.expected_lives import LifeBook
    from inventory.services.forecast.fade_looks import FadeLooks

_STEP = 2_000


@dataclass(slots=True)
class _Watched:
    """Ages at which the faces of one sheeting type and colour came on record and left off."""

    entry: list[float] = field(default_factory=list)
    leave: list[float] = field(default_factory=list)
    faded: list[bool] = field(default_factory=list)


def fade_lives(
    *, organisation: Organisation, now: datetime, looks: FadeLooks | None = None
) -> dict[tuple[str, str], FadeLife]:
    """
    Return by which age faces fade, by sheeting type (empty: not known) and colour.

    A face faded when it was seen moderately or severely faded, or taken down for it; else it
    was last seen not faded at its last visit, or when it came down. What was seen does not say
    which colour: it is put down to the first colour with a hue, the background's before the
    legend's. With five faded faces or more their own life holds; else the agency's expected
    life; else the colour is left out: its fading is not known. ``looks`` are those of
    :func:`~inventory.services.forecast.fade_looks.fade_looks`, found here if not given.
    """
    today = organisation.day_of(now)
    looks = looks or fade_looks(organisation)
    makes = _makes(organisation)
    watched = _watched(organisation, makes, today, looks)
    book = expected_lives(organisation, today)
    found: dict[tuple[str, str], FadeLife] = {}
    for key in sorted({each for areas in makes.values() for each in areas}):
        sheeting_type, color = key
        if not color:
            continue
        own = None
        if key in watched:
            seen = watched[key]
            own = fade_life(
                seen.entry, seen.leave, seen.faded, color_words=_words(sheeting_type, color)
            )
        life = own or _agency_life(book, sheeting_type, color)
        if life is not None:
            found[key] = life
    return found


def fades_to_json(lives: Mapping[tuple[str, str], FadeLife]) -> list[dict[str, Any]]:
    """Return fade lives as plain values to store; see :func:`fades_from_json`."""
    return [
        {"sheeting_type": sheeting_type, "color": color, **asdict(life)}
        for (sheeting_type, color), life in lives.items()
    ]


def fades_from_json(stored: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], FadeLife]:
    """Return the fade lives that :func:`fades_to_json` wrote."""
    found = {}
    for row in stored:
        fields = {**row}
        key = fields.pop("sheeting_type"), fields.pop("color")
        fields["source"] = FadeSource(fields["source"])
        for name in ("ages_years", "share_left"):
            fields[name] = tuple(fields[name])
        found[key] = FadeLife(**fields)
    return found


def _words(sheeting_type: str, color: str) -> str:
    kind = f"Type {sheeting_type}" if sheeting_type else "sheeting type not known,"
    words = Color(color).words if color in set(Color) else color
    return f"{kind} {words}"


def _agency_life(book: LifeBook, sheeting_type: str, color: str) -> FadeLife | None:
    life = book.of(SignForecast.End.FADE, sheeting_type=sheeting_type, optics="", color=color)
    if life is None:
        return None
    return FadeLife(life.years, FadeSource.AGENCY, f"{life.words}: {life.basis}")


def _makes(organisation: Organisation) -> dict[int, list[tuple[str, str]]]:
    """Return the colours of each face with their sheeting types, the background's first."""
    areas = (
        ColourArea.objects.owned_by(organisation)
        .exclude(colouring=ColourArea.Colouring.OPAQUE)
        .exclude(sign__state=Sign.State.IN_STOCK)
        .order_by("sign", "number")
        .values_list("sign", "part", "sheeting_type", "color")
    )
    found: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for sign_id, part, sheeting_type, color in areas.iterator(chunk_size=_STEP):
        place = 0 if part == ColourArea.Part.BACKGROUND else len(found[sign_id])
        found[sign_id].insert(place, (sheeting_type, color))
    return found


def _watched(
    organisation: Organisation,
    makes: dict[int, list[tuple[str, str]]],
    today: date,
    looks: FadeLooks,
) -> dict[tuple[str, str], _Watched]:
    found: dict[tuple[str, str], _Watched] = defaultdict(_Watched)
    for face in recorded_faces(organisation):
        areas = makes.get(face.sign_id)
        if not areas or face.put_up_on is None or face.on_record_on is None:
            continue
        is_removed_for_it = face.reason == Sign.RemovalReason.FADED
        seen_on = looks.faded_on.get(face.sign_id)
        last_on: date | None
        if seen_on is not None:
            last_on, is_faded = seen_on, True
        elif face.reason:
            last_on, is_faded = face.removed_on, is_removed_for_it
        else:
            last_on, is_faded = looks.looked_on.get(face.sign_id), False
        if last_on is None:
            continue
        entry, leave = face.age_years(face.on_record_on), face.age_years(min(last_on, today))
        if entry is None or leave is None or leave <= entry:
            continue
        color = fading_color(each for _type, each in areas)
        key = next((each for each in areas if each[1] == color), areas[0])
        found[key].entry.append(entry)
        found[key].leave.append(leave)
        found[key].faded.append(is_faded)
    return found

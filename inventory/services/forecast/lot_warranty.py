"""What a warranty claim for the signs of a lot would rest on."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from statistics import fmean
from typing import TYPE_CHECKING, NamedTuple

from django.db.models import Avg, Exists, FloatField, OuterRef, Q
from django.db.models.functions import Cast

from inventory.engineering.inspection.usability import (
    JUDGED_ENTRANCE_ANGLE_DEG,
    JUDGED_OBSERVATION_ANGLE_DEG,
)
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.new_sheeting import (
    NEW_SHEETING_FILES,
    new_sheeting_minimum,
)
from inventory.engineering.standards.tables import read_table
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import NoPublishedValueError, OutOfRangeError
from inventory.models import (
    ColourArea,
    FlagSettlement,
    Inspection,
    InspectionFlag,
    Reading,
    Sign,
    WarrantyTerm,
)

if TYPE_CHECKING:
    from datetime import date

    from inventory.engineering.standards.new_sheeting import NewSheetingMinimum
    from inventory.models import Organisation, ScopedQuerySet

NO_TERMS = "No warranty terms are on record"
DAYS_PER_YEAR = 365.25
MOST_TERMS = 5
_CLEAN_AND_DRY = (SurfaceState.DRY.value, SurfaceState.CLEANED.value)


@dataclass(frozen=True, slots=True)
class WarrantyPosition:
    """A sentence, and figures as pairs of words and value; '' where nothing is known."""

    sentence: str
    rows: tuple[tuple[str, str], ...]


class _Newest(NamedTuple):
    taken_on: date
    ra_cd_lx_m2: float


def position_of_signs(
    *, organisation: Organisation, signs: ScopedQuerySet, today: date
) -> WarrantyPosition:
    """
    Return ages since fabrication, clean dry readings, and their share of the new minimum.

    The sentence names the terms of the shops that made them, where there are any. Readings by
    hand-held instrument at 0.2° and −4.0° of faces on record as dry or cleaned count, put
    right where they were, and not those in doubt.
    """
    states = list(signs.order_by("pk").values_list("pk", "state", "fabricated_on"))
    standing = sum(state == Sign.State.INSTALLED for _pk, state, _on in states)
    ages = [
        (today - made_on).days / DAYS_PER_YEAR for _pk, _state, made_on in states if made_on
    ]
    newest, number = _newest_readings(organisation, signs)
    rows = [
        ("Signs made of it", f"{len(states):,}, {standing:,} of them standing"),
        ("Age since fabrication", _ages(ages, len(states))),
        (
            "Clean, dry readings",
            f"{number:,} by hand-held instrument at 0.2° and −4.0°, of "
            f"{len({sign for sign, _color in newest}):,} signs",
        ),
        *_shares(signs, newest),
    ]
    makers = signs.order_by().values("maker")
    terms = WarrantyTerm.objects.filter(organisation__in=makers).order_by("name", "version")
    names = ", ".join(str(term) for term in terms[:MOST_TERMS])
    if names:
        sentence = (
            f"On record for faces of this shop: {names}. Which signs read less than was "
            "promised of them is listed under Warranty, with the conditions of each."
        )
    else:
        sentence = (
            f"{NO_TERMS}, so it is not known what is covered and for how long. A claim would "
            "rest on these figures; take them with the terms to the sheeting's supplier."
        )
    return WarrantyPosition(sentence, tuple(rows))


def _ages(ages: list[float], number: int) -> str:
    if not ages:
        return ""
    text = f"{min(ages):.1f} to {max(ages):.1f} years"
    missing = number - len(ages)
    return f"{text}; not known of {missing:,}" if missing else text


def _newest_readings(
    organisation: Organisation, signs: ScopedQuerySet
) -> tuple[dict[tuple[int, str], _Newest], int]:
    """Return the newest clean dry reading of each colour of each sign, and how many count."""
    flags = InspectionFlag.objects.filter(inspection=OuterRef("reading_set__inspection"))
    in_doubt = flags.filter(
        Q(settlement__isnull=True) | Q(settlement__outcome=FlagSettlement.Outcome.SET_ASIDE)
    )
    put_right = Inspection.objects.filter(corrects=OuterRef("reading_set__inspection"))
    rows = (
        Reading.objects.owned_by(organisation)
        .filter(
            ~Exists(in_doubt),
            ~Exists(put_right),
            reading_set__inspection__sign__in=signs.order_by().values("pk"),
            reading_set__inspection__how=How.HAND_HELD.value,
            reading_set__inspection__surface_state__in=_CLEAN_AND_DRY,
            reading_set__observation_angle_deg=JUDGED_OBSERVATION_ANGLE_DEG,
            reading_set__entrance_angle_deg=JUDGED_ENTRANCE_ANGLE_DEG,
        )
        .order_by()
        .values(
            "reading_set__inspection__sign_id",
            "reading_set__inspection_id",
            "reading_set__inspection__taken_at",
            "reading_set__color",
        )
        .annotate(mean=Avg(Cast("ra_cd_lx_m2", FloatField())))
        .order_by("reading_set__inspection__taken_at", "reading_set__inspection_id")
        .values_list(
            "reading_set__inspection__sign_id",
            "reading_set__inspection__taken_at",
            "reading_set__color",
            "mean",
        )
    )
    newest: dict[tuple[int, str], _Newest] = {}
    number = 0
    for sign, taken_at, color, mean in rows:
        if not mean:  # read as 0: damage, not decline
            continue
        number += 1
        newest[sign, color] = _Newest(organisation.day_of(taken_at), mean)
    return newest, number


def _shares(
    signs: ScopedQuerySet, newest: dict[tuple[int, str], _Newest]
) -> list[tuple[str, str]]:
    """Return the mean share of the published minimum of new sheeting, by type and colour."""
    types: dict[tuple[int, str], str] = {}
    areas = ColourArea.objects.filter(sign__in=signs.order_by().values("pk"))
    for sign, color, sheeting_type in areas.order_by("sign_id", "number").values_list(
        "sign_id", "color", "sheeting_type"
    ):
        types.setdefault((sign, color), sheeting_type)
    values: dict[tuple[str, str], list[float]] = defaultdict(list)
    for key, reading in newest.items():
        values[types.get(key, ""), key[1]].append(reading.ra_cd_lx_m2)
    rows = []
    sources: set[str] = set()
    for (sheeting_type, color), of_both in sorted(values.items()):
        what = f"Newest readings, {color.replace('-', ' ')}"
        what += f" Type {sheeting_type}" if sheeting_type else ""
        mean = f"mean {fmean(of_both):.0f} cd/lx/m²"
        minimum = _minimum(sheeting_type, color)
        if minimum is None:
            rows.append((what, f"{mean}; no published minimum of new sheeting is at hand"))
            continue
        share = fmean(of_both) / float(minimum.minimum_ra_cd_lx_m2)
        mark = "" if minimum.is_verified else " (unverified)"
        least = f"{minimum.minimum_ra_cd_lx_m2.normalize():f} cd/lx/m²"
        sources.add(_titles()[minimum.table_id])
        rows.append(
            (what, f"{mean}, {share * 100:.0f} % of the minimum when new, {least}{mark}")
        )
    if sources:
        rows.append(("Minimums when new", "; ".join(sorted(sources))))
    return rows


@cache
def _titles() -> dict[str, str]:
    """Return the titles of the tables of new sheeting by their identifiers."""
    sources = [read_table(name).source for name in NEW_SHEETING_FILES]
    return {source.table_id: source.title for source in sources}


def _minimum(sheeting_type: str, color: str) -> NewSheetingMinimum | None:
    if not sheeting_type:
        return None
    try:
        return new_sheeting_minimum(
            sheeting_type,
            Color(color),
            JUDGED_OBSERVATION_ANGLE_DEG,
            JUDGED_ENTRANCE_ANGLE_DEG,
        )
    except (NoPublishedValueError, OutOfRangeError, ValueError):
        return None

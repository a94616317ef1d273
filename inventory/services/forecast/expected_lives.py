"""How long an agency expects faces to last where readings do not say; always with its basis."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inventory.engineering.standards.sheeting import read_sheeting_type
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    ColourArea,
    ExpectedLife,
    MethodAssignment,
    MethodGroup,
    Organisation,
    SignForecast,
)
from inventory.services.fields import check_storable
from inventory.services.logbook import log

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from inventory.models import User

LONGEST_LIFE_YEARS = 60.0
_OPTICS = (ColourArea.Optics.BEADED, ColourArea.Optics.PRISMATIC)
AGENCY, METHOD_GROUP = "agency", "method group"

Key = tuple[str, str, str, str]  # end, sheeting type, optics, colour


@dataclass(frozen=True, slots=True)
class FoundLife:
    """The life that holds for a face, and why."""

    years: float
    basis: str
    approved_by: str
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class LifeBook:
    """What an agency expects on a day, loaded once and asked for every face."""

    rows: Mapping[Key, ExpectedLife]
    group_of: Mapping[int, MethodGroup]

    def of(
        self,
        end: str,
        *,
        sheeting_type: str,
        optics: str,
        color: str,
        position_id: int | None = None,
    ) -> FoundLife | None:
        """
        Return the life of a face; nothing where the agency expects none.

        The most specific wins: one for the sheeting type over one for any, then one for the
        optics, then one for the colour. Where there is none, it is the life of the method group
        that keeps the place by expected life, for the end of falling below the level.
        """
        for found_type in dict.fromkeys((sheeting_type, "")):
            for found_optics in dict.fromkeys((optics, "")):
                for found_color in dict.fromkeys((color, "")):
                    row = self.rows.get((end, found_type, found_optics, found_color))
                    if row is not None and row.years is not None:
                        return FoundLife(
                            row.years,
                            row.basis,
                            row.approved_by,
                            f"expected life of {row.years:g} years for {faces_words(row)}",
                            AGENCY,
                        )
        group = self.group_of.get(position_id) if position_id is not None else None
        if end != SignForecast.End.LEVEL or group is None or not group.expected_life_years:
            return None
        return FoundLife(
            float(group.expected_life_years),
            group.basis,
            "",
            f"expected life of {group.expected_life_years} years of '{group.name}'",
            METHOD_GROUP,
        )

    @property
    def in_force(self) -> list[ExpectedLife]:
        """Return what the agency expects, by end, sheeting type, optics and colour."""
        return [row for _key, row in sorted(self.rows.items())]


def expected_lives(organisation: Organisation, on: date) -> LifeBook:
    """Return what the agency expects on a day, withdrawn lives left out; in two queries."""
    rows = ExpectedLife.objects.owned_by(organisation).filter(effective_on__lte=on)
    newest: dict[Key, ExpectedLife] = {
        _key(row): row for row in rows.order_by("effective_on", "recorded_at", "pk")
    }
    assignments = (
        MethodAssignment.objects.owned_by(organisation)
        .filter(
            Q(until_on__isnull=True) | Q(until_on__gt=on),
            Q(group__ended_on__isnull=True) | Q(group__ended_on__gt=on),
            group__method=MethodGroup.Method.EXPECTED_LIFE,
            from_on__lte=on,
        )
        .order_by("from_on", "pk")
        .select_related("group")
    )
    groups: dict[int, MethodGroup] = {}
    group_of = {
        each.position_id: groups.setdefault(each.group_id, each.group)
        for each in assignments.iterator()
    }
    kept = {key: row for key, row in newest.items() if row.years is not None}
    return LifeBook(kept, group_of)


def expected_life_of(
    *,
    organisation: Organisation,
    on: date,
    end: str,
    sheeting_type: str,
    optics: str,
    color: str,
    position_id: int | None = None,
) -> FoundLife | None:
    """Return the life of one face on a day; for many, load :func:`expected_lives` once."""
    return expected_lives(organisation, on).of(
        end, sheeting_type=sheeting_type, optics=optics, color=color, position_id=position_id
    )


@transaction.atomic
def set_expected_life(
    *,
    organisation: Organisation,
    end: str,
    years: float | None,
    basis: str,
    approved_by: str,
    effective_on: date,
    sheeting_type: str = "",
    optics: str = "",
    color: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> ExpectedLife:
    """
    Set how long faces are expected to last, from a day on; ``None`` withdraws it.

    A part left blank is any. Forecasts go by it when they are made next.
    """
    now = now or timezone.now()
    if organisation.kind != Organisation.Kind.AGENCY:
        msg = f"{organisation} is no road agency; only an agency expects lives of its signs."
        raise StateConflictError(msg)
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    row = ExpectedLife(
        organisation=organisation,
        end=_end(end),
        sheeting_type=read_sheeting_type(sheeting_type).value if sheeting_type else "",
        optics=_known_optics(optics, end),
        color=_known_color(color),
        years=_checked_years(years),
        basis=basis.strip(),
        approved_by=approved_by.strip(),
        effective_on=effective_on,
        recorded_at=now,
        recorded_by=by,
    )
    _check_words(row)
    if row.years is None and _key(row) not in expected_lives(organisation, effective_on).rows:
        msg = (
            f"{organisation} expects no life of its own for {faces_words(row)} "
            f"({row.get_end_display()}) on {effective_on:%Y-%m-%d}; there is nothing to "
            "withdraw."
        )
        raise StateConflictError(msg)
    row.save()
    what = "withdrawn" if row.years is None else f"set to {row.years:g} years"
    log(
        organisation=organisation,
        actor=by,
        verb="set expected life",
        text=(
            f"Expected life of {faces_words(row)} ({row.get_end_display()}) {what} from "
            f"{effective_on:%Y-%m-%d}, approved by {row.approved_by}. {row.basis}"
        ),
        at=now,
    )
    return row


def faces_words(row: ExpectedLife) -> str:
    """Return which faces a life is for, in words."""
    parts = [
        f"Type {row.sheeting_type}" if row.sheeting_type else "",
        row.optics,
        Color(row.color).words if row.color else "",
    ]
    known = " ".join(part for part in parts if part)
    return f"{known} faces" if known else "all faces"


def _key(row: ExpectedLife) -> Key:
    return row.end, row.sheeting_type, row.optics, row.color


def _end(end: str) -> str:
    if end not in SignForecast.End.values:
        msg = f"'{end}' is no end of a face; use one of {', '.join(SignForecast.End.values)}."
        raise OutOfRangeError(msg)
    return end


def _known_optics(optics: str, end: str) -> str:
    if not optics:
        return ""
    if end == SignForecast.End.FADE:
        msg = "Colours fade by sheeting type and colour; leave the optics out."
        raise OutOfRangeError(msg)
    if optics not in _OPTICS:
        msg = f"'{optics}' is no optics to expect a life by; use beaded or prismatic, or none."
        raise OutOfRangeError(msg)
    return optics


def _known_color(color: str) -> str:
    if not color:
        return ""
    try:
        return Color(color).value
    except ValueError:
        colors = ", ".join(each.value for each in Color)
        msg = f"'{color}' is no colour known here; use one of {colors}, or none for any."
        raise OutOfRangeError(msg) from None


def _checked_years(years: float | None) -> float | None:
    if years is not None and not (isfinite(years) and 0 < years <= LONGEST_LIFE_YEARS):
        msg = (
            f"A life of {years:g} years is not possible; it is over 0 and at most "
            f"{LONGEST_LIFE_YEARS:g} years."
        )
        raise OutOfRangeError(msg)
    return years


def _check_words(row: ExpectedLife) -> None:
    if not row.basis:
        msg = "The life has no basis; say in words what study or decision it rests on."
        raise OutOfRangeError(msg)
    if not row.approved_by:
        msg = "Nobody is named who approved the life; name who answers for it."
        raise OutOfRangeError(msg)
    most = ExpectedLife._meta.get_field("approved_by").max_length or 0
    if len(row.approved_by) > most:
        msg = (
            f"The name of who approved the life has {len(row.approved_by)} characters; at most "
            f"{most} are kept."
        )
        raise OutOfRangeError(msg)
    check_storable(row.basis, "basis")
    check_storable(row.approved_by, "name of who approved it")

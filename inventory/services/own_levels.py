"""Levels an agency sets itself where no published table has a row."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.assessment.face import OwnLevel
from inventory.engineering.inspection.readings import MAXIMUM_DECIMALS, MAXIMUM_RA_CD_LX_M2
from inventory.engineering.standards.levels import level_rows
from inventory.engineering.standards.placement import find_placement
from inventory.engineering.standards.vocabulary import Color, Edition
from inventory.errors import NoPublishedValueError, OutOfRangeError, StateConflictError
from inventory.models import AgencyLevel, Organisation
from inventory.services.logbook import log
from inventory.services.people import policy_at
from inventory.services.rules import rules_of

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.engineering.assessment.face import Rules
    from inventory.models import AgencyPolicy, User

_CHOSEN_BY_RULES = (Color.FLUORESCENT_YELLOW, Color.FLUORESCENT_ORANGE)


def rules_on(policy: AgencyPolicy, day: date) -> Rules:
    """Return rules with the own levels that are in force on a day."""
    return rules_of(policy, own_levels_on(policy.organisation, day))


def own_levels_on(agency: Organisation, day: date) -> tuple[OwnLevel, ...]:
    """Return the agency's own levels in force on a day; withdrawn ones are not."""
    rows = AgencyLevel.objects.owned_by(agency).filter(effective_on__lte=day)
    newest: dict[tuple[str, str, str], AgencyLevel] = {
        (row.background_color, row.legend_color, row.color): row
        for row in rows.order_by("effective_on", "recorded_at", "pk")
    }
    return tuple(
        OwnLevel(
            background=Color(row.background_color),
            legend=Color(row.legend_color),
            color=Color(row.color),
            minimum_ra_cd_lx_m2=row.minimum_ra_cd_lx_m2,
            basis=row.basis,
            approved_by=row.approved_by,
            approved_on=row.approved_on,
            effective_on=row.effective_on,
        )
        for _, row in sorted(newest.items())
        if row.minimum_ra_cd_lx_m2 is not None
    )


@transaction.atomic
def set_agency_level(
    *,
    agency: Organisation,
    background: str,
    legend: str,
    color: str,
    minimum: str | Decimal | None,
    basis: str,
    approved_by: str,
    approved_on: date,
    effective_on: date,
    by: User | None = None,
    now: datetime | None = None,
) -> AgencyLevel:
    """
    Set a level of the agency's own from a day on; ``None`` withdraws the one in force.

    Only for a colour that the edition in force gives no level, and for fluorescent yellow and
    orange, whose row is a choice of the rules. Signs go by it when they are judged next.
    """
    now = now or timezone.now()
    if agency.kind != Organisation.Kind.AGENCY:
        msg = f"{agency} is no road agency; only an agency sets levels for its signs."
        raise StateConflictError(msg)
    Organisation.objects.select_for_update().get(pk=agency.pk)
    pair = _color(background, "background"), _color(legend, "legend")
    judged = _color(color, "judged colour")
    _check_color(judged, pair, agency, effective_on)
    level = None if minimum is None else _parse_level(minimum)
    _check_words(basis, approved_by)
    _check_days(approved_on, effective_on, agency.day_of(now))
    in_force = {
        (each.background, each.legend, each.color)
        for each in own_levels_on(agency, effective_on)
    }
    if level is None and (*pair, judged) not in in_force:
        msg = (
            f"{agency} has no level of its own for {judged.words} of {pair[1].words} on "
            f"{pair[0].words} on {effective_on:%Y-%m-%d}; there is nothing to withdraw."
        )
        raise StateConflictError(msg)
    row: AgencyLevel = AgencyLevel.objects.create(
        organisation=agency,
        background_color=pair[0].value,
        legend_color=pair[1].value,
        color=judged.value,
        minimum_ra_cd_lx_m2=level,
        basis=basis.strip(),
        approved_by=approved_by.strip(),
        approved_on=approved_on,
        effective_on=effective_on,
        recorded_at=now,
        recorded_by=by,
    )
    what = "withdrawn" if level is None else f"set to {level} cd/lx/m²"
    log(
        organisation=agency,
        actor=by,
        verb="set own level",
        text=(
            f"Own level for {judged.words} of {pair[1].words} on {pair[0].words} {what} from "
            f"{effective_on:%Y-%m-%d}, approved by {row.approved_by}. {row.basis}"
        ),
        at=now,
    )
    return row


def has_published_level(
    edition: Edition, background: Color, legend: Color, color: Color
) -> bool:
    """Return whether an edition's binding table has a level for a colour of a pair."""
    try:
        placement = find_placement(background, legend)
    except NoPublishedValueError:
        return False
    return any(
        row.sign_colors is placement.sign_colors and row.color is color
        for row in level_rows(edition)
    )


def _check_color(
    color: Color, pair: tuple[Color, Color], agency: Organisation, effective_on: date
) -> None:
    """Refuse a colour that is not of the pair, returns no light, or has a published level."""
    background, legend = pair
    if color not in pair:
        msg = (
            f"{color.words.capitalize()} is not a colour of {legend.words} on "
            f"{background.words}; set the level for one of the two."
        )
        raise OutOfRangeError(msg)
    if color is Color.BLACK:
        msg = "Black returns no light and needs no level; set one for the other colour."
        raise OutOfRangeError(msg)
    edition = Edition(policy_at(agency, effective_on).edition)
    if color not in _CHOSEN_BY_RULES and has_published_level(edition, *pair, color):
        msg = (
            f"{edition.words} publishes a level for {color.words} of {legend.words} on "
            f"{background.words}; an own level is only for a colour without a published one."
        )
        raise OutOfRangeError(msg[0].upper() + msg[1:])


def _color(text: str, what: str) -> Color:
    try:
        return Color(text)
    except ValueError:
        colors = ", ".join(each.value for each in Color)
        msg = f"'{text}' is no colour known here ({what}); use one of {colors}."
        raise OutOfRangeError(msg) from None


def _parse_level(typed: str | Decimal) -> Decimal:
    """Return a typed level as the decimal it says."""
    text = str(typed).strip()
    try:
        level = Decimal(text)
    except InvalidOperation:
        level = Decimal("NaN")
    if not level.is_finite():
        msg = f"'{text}' is no level; write it in figures with a decimal point, such as 75.0."
        raise OutOfRangeError(msg)
    if not 0 < level <= MAXIMUM_RA_CD_LX_M2:
        msg = (
            f"The level {text} cd/lx/m² is not possible; it is over 0 and at most "
            f"{MAXIMUM_RA_CD_LX_M2}."
        )
        raise OutOfRangeError(msg)
    if level != round(level, MAXIMUM_DECIMALS):
        msg = f"The level {text} cd/lx/m² has more than {MAXIMUM_DECIMALS} decimals; round it."
        raise OutOfRangeError(msg)
    return round(level, MAXIMUM_DECIMALS)


def _check_words(basis: str, approved_by: str) -> None:
    if not basis.strip():
        msg = "The level has no basis; say in words what it rests on."
        raise OutOfRangeError(msg)
    if not approved_by.strip():
        msg = "Nobody is named who approved the level; name who answers for it."
        raise OutOfRangeError(msg)
    most = AgencyLevel._meta.get_field("approved_by").max_length or 0
    if len(approved_by.strip()) > most:
        msg = (
            f"The name of who approved the level has {len(approved_by.strip())} characters; at "
            f"most {most} are kept."
        )
        raise OutOfRangeError(msg)


def _check_days(approved_on: date, effective_on: date, today: date) -> None:
    if approved_on > today:
        msg = (
            f"The level was approved on {approved_on:%Y-%m-%d}, which is still to come (today "
            f"is {today:%Y-%m-%d}); give the day it was approved."
        )
        raise OutOfRangeError(msg)
    if effective_on < approved_on:
        msg = (
            f"The level would hold from {effective_on:%Y-%m-%d}, before it was approved on "
            f"{approved_on:%Y-%m-%d}; let it begin on that day or later."
        )
        raise OutOfRangeError(msg)

"""What the pages show of instruments, checks and readings in doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template
from django.utils.html import format_html
from django.utils.safestring import mark_safe
from django.utils.timezone import localtime

from inventory.engineering.inspection.instruments import (
    CertificateState,
    certificate_state,
    relative_difference,
)
from inventory.engineering.inspection.usability import geometry_words
from inventory.templatetags.inventory_tags import or_not_known
from inventory.web.numbers import MINUS

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import Instrument, InstrumentCheck
    from inventory.services.doubts import FlagGroup

PERCENT = 100

register = template.Library()


@register.filter
def geometry(instrument: Instrument) -> str:
    """Show the angles of an instrument as they are written on it."""
    return geometry_words(instrument.observation_angle_deg, instrument.entrance_angle_deg)


@register.filter
def certificate(instrument: Instrument, today: date) -> object:
    """Show until when a certificate holds; one that is out of date stands out by a word."""
    due = instrument.certificate_due_on
    if due is None:
        return or_not_known("")
    present = (instrument.certificate_on, due)
    is_old = certificate_state([present], today) is CertificateState.EXPIRED
    tag = mark_safe(' <span class="tag severe">out of date</span>') if is_old else ""
    return format_html('<span class="nowrap">{}</span>{}', f"{due:%Y-%m-%d}", tag)


@register.filter
def percent(share: float | None) -> str:
    """Show a share in per cent without needless zeros; nothing when it is not known."""
    return "" if share is None else f"{share * PERCENT:g}"


@register.filter
def off_by(check: InstrumentCheck) -> str:
    """Show by how many per cent an instrument showed too much or too little."""
    reference, shown = check.reference_ra_cd_lx_m2, check.shown_ra_cd_lx_m2
    share = f"{float(relative_difference(reference, shown)) * PERCENT:.2f}"
    return f"{'+' if shown > reference else MINUS if shown < reference else ''}{share}"


@register.filter
def group_words(group: FlagGroup) -> str:
    """Show what puts a group of readings in doubt, and how many they are."""
    visits = "1 visit" if group.count == 1 else f"{group.count:,} visits"
    first, last = _day(group.first_taken_at), _day(group.last_taken_at)
    span = f"of {first}" if first == last else f"from {first} to {last}"
    if group.check is None:
        return f"{visits} with {group.instrument_serial} {span}, after its certificate was due"
    return (
        f"{visits} with {group.instrument_serial} {span}: its check of "
        f"{_day(group.check.checked_at)}, {localtime(group.check.checked_at):%H:%M} was off by "
        f"{off_by(group.check)} %, of a tolerance of {percent(group.check.tolerance_rel)} %"
    )


def _day(moment: datetime) -> str:
    """Return a day as prose writes it, on the organisation's own clock."""
    local = localtime(moment)
    return f"{local.day} {local:%b %Y}"

"""What the templates call to show a mark, a face, a number or something not known."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from django import template
from django.utils import timezone
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import mark_safe

from inventory.engineering.places.directions import COMPASS_BEARINGS_DEG
from inventory.engineering.standards.supports import support_types
from inventory.engineering.standards.vocabulary import Color
from inventory.models import Standing
from inventory.services.importing.wording import NOT_KNOWN, value_words
from inventory.services.marks import Mark, mark_of, mark_of_standing
from inventory.services.sign_faces import draw_face, looks_of_code, looks_of_sign
from inventory.units import partial_date
from inventory.web import numbers

if TYPE_CHECKING:
    from datetime import date
    from decimal import Decimal

    from django.utils.safestring import SafeString

    from inventory.models import Sign

DEGREE_DECIMALS = 6

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")

register = template.Library()


@register.simple_tag
def standing_mark(standing: Standing) -> SafeString:
    """Show how a sign stands: shape, colour and word."""
    return _mark(mark_of_standing(standing))


@register.simple_tag
def verdict_mark(verdict: str) -> SafeString:
    """Show a verdict: shape, colour and word."""
    return _mark(mark_of(verdict))


@register.simple_tag
def verdict_badge(mark: Mark) -> SafeString:
    """Show a mark that is already chosen."""
    return _mark(mark)


@register.simple_tag
def face_of_sign(sign: Sign, size_px: int = 64, local_types: Any = None) -> SafeString:
    """Draw a face as it is recorded."""
    return draw_face(looks_of_sign(sign, local_types), size_px=size_px)


@register.simple_tag
def face_of_code(code: str, size_px: int = 40, local_types: Any = None) -> SafeString:
    """Draw what a code says of a face."""
    return draw_face(looks_of_code(code, local_types), size_px=size_px)


@register.filter
def or_not_known(value: object) -> object:
    """Show what is not known as such, never as nothing."""
    if value is None or value == "":
        return format_html('<span class="not-known">{}</span>', "not known")
    return value


@register.filter
def words_of(value: object, field: str) -> object:
    """Show the value of an imported row's field as words, with its unit."""
    words = value_words(field, value)
    return or_not_known("" if words == NOT_KNOWN else words)


@register.filter
def known_date(day: date | None, precision: str = "day") -> object:
    """Show a calendar date as far as it is known, for a table."""
    return or_not_known(day and partial_date(day, precision))


@register.filter
def ra(value: Decimal | None) -> str:
    """Show an R_A with the decimals all R_A have here."""
    return "" if value is None else numbers.fixed(value, numbers.RA_DECIMALS)


@register.filter
def printed(value: Decimal | None) -> str:
    """Show a published figure as it is printed."""
    return "" if value is None else numbers.plain(value)


@register.filter
def degrees(value: float) -> str:
    """Show a latitude or longitude to about a decimetre, with a true minus sign."""
    return numbers.fixed(value, DEGREE_DECIMALS)


@register.filter
def support_words(key: str) -> object:
    """Show a support type by its name; a word the tables do not know stays as it is."""
    names = {each.key: each.name for each in support_types()}
    return or_not_known(names.get(key, key))


@register.filter
def inches(value: float | None) -> object:
    """Show a length in inches to a hundredth, without needless zeros."""
    return or_not_known(value if value is None else f"{round(value, 2):g}")


@register.filter
def bearing(degrees: float | None) -> object:
    """Show which way a front looks: compass letters and degrees."""
    if degrees is None:
        return or_not_known("")
    return f"{compass_letters(degrees)} ({degrees:.0f}°)"


@register.filter
def ratio(value: float | None) -> str:
    """Show a ratio with the decimals all ratios have here."""
    return "" if value is None else numbers.fixed(value, numbers.RATIO_DECIMALS)


@register.filter
def color_words(color: str) -> str:
    """Show a stored colour as people say it."""
    return Color(color).words


@register.filter
def percent(share: float) -> str:
    """Show a share as a percentage, without needless zeros."""
    return f"{share * 100:.4g} %"


@register.simple_tag
def condition(standing: Standing) -> object:
    """Show the condition by eye; severe damage stands out by a word in a frame."""
    if standing.condition == Standing.Condition.NOT_SEEN:
        return or_not_known("")
    level = standing.get_condition_display()
    words = standing.condition_text or level
    if standing.condition == Standing.Condition.SEVERE:
        rest = words.removeprefix(level).removeprefix(": ")
        return format_html(
            '<span><span class="tag severe">{}</span> {}</span>', level, whole_days(rest)
        )
    return whole_days(words)


@register.filter
def whole_days(words: str) -> SafeString:
    """Show words so that no line breaks within a day such as 2026-05-01."""
    escaped = conditional_escape(words)
    kept = _DAY.sub(lambda day: f'<span class="nowrap">{day[0]}</span>', escaped)
    # In one element: the cells of a list on a phone lay out each of their own.
    return mark_safe(f"<span>{kept}</span>")  # noqa: S308 - went through conditional_escape()


@register.simple_tag
def pressing_reason(standing: Standing) -> str:
    """Show why a sign is due in a line; what cannot be relied on stands out in a frame."""
    if standing.condition == Standing.Condition.SEVERE:
        words = standing.due_reason or standing.condition_text
        return format_html(' <span class="tag severe">{}</span>', words)
    return format_html(" · {}", standing.due_reason) if standing.is_due else ""


@register.filter
def due_words(standing: Standing) -> str:
    """Show why a sign is due and since or by when, or from when on it will be."""
    if standing.is_due:
        when = f", {since_or_by(standing)}" if standing.due_on else ""
        return f"{standing.due_reason or 'due'}{when}"
    if standing.due_on:
        return f"not before {standing.due_on:%Y-%m-%d}: {standing.due_reason}"
    return ""


@register.filter
def since_or_by(standing: Standing) -> object:
    """Show the day since which a sign is due, or by which it is to be put right."""
    if standing.due_on is None:
        return or_not_known("")
    word = "by" if standing.due_on > timezone.localdate() else "since"
    return f"{word} {standing.due_on:%Y-%m-%d}"


def compass_letters(degrees: float) -> str:
    """Return the nearest of the sixteen compass points."""
    names = list(COMPASS_BEARINGS_DEG)
    return names[round(degrees / 360.0 * len(names)) % len(names)]


def _mark(mark: Mark) -> SafeString:
    return format_html(
        '<span class="standing mark-{key}"><svg class="mark" aria-hidden="true">'
        '<use href="#mark-{key}"/></svg><span class="word">{word}</span></span>',
        key=mark.key,
        word=mark.word,
    )

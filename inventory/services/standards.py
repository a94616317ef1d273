"""An agency's own sign types and its own words for published codes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from inventory.engineering.standards.catalogue import normalise_code
from inventory.engineering.standards.local import CodeBook, local_sign_type
from inventory.engineering.standards.vocabulary import Color, Series, Shape, SymbolClass
from inventory.errors import StateConflictError
from inventory.models import CodeAlias, LocalSignType
from inventory.services.logbook import log

if TYPE_CHECKING:
    from datetime import datetime
    from decimal import Decimal

    from inventory.engineering.standards.catalogue import SignType
    from inventory.models import Organisation, User


def _as_sign_type(row: LocalSignType) -> SignType:
    """Return a stored type as the look-ups know it; a blank is unknown."""
    return local_sign_type(
        code=row.code,
        name=row.name,
        series=Series(row.series),
        shape=Shape(row.shape) if row.shape else None,
        background=Color(row.background_color) if row.background_color else None,
        legend=Color(row.legend_color) if row.legend_color else None,
        symbol_class=SymbolClass(row.symbol_class) if row.symbol_class else None,
        width_in=row.width_in,
        height_in=row.height_in,
        is_plaque=row.is_plaque,
    )


def code_book(organisation: Organisation) -> CodeBook:
    """Return how an agency reads codes: its aliases, its own types, then the catalogue."""
    return CodeBook(
        local_types=[_as_sign_type(r) for r in LocalSignType.objects.owned_by(organisation)],
        aliases=dict(CodeAlias.objects.owned_by(organisation).values_list("alias", "code")),
    )


@transaction.atomic
def add_sign_type(
    *,
    organisation: Organisation,
    code: str,
    name: str,
    series: Series,
    now: datetime,
    shape: Shape | None = None,
    background: Color | None = None,
    legend: Color | None = None,
    symbol_class: SymbolClass | None = None,
    width_in: Decimal | float | None = None,
    height_in: Decimal | float | None = None,
    is_plaque: bool = False,
    by: User | None = None,
) -> LocalSignType:
    """Add a sign type the catalogue does not hold; a code the agency already has is refused."""
    local_sign_type(  # refuses blanks and impossible sizes with its sentence
        code=code,
        name=name,
        series=series,
        shape=shape,
        background=background,
        legend=legend,
        symbol_class=symbol_class,
        width_in=width_in,
        height_in=height_in,
        is_plaque=is_plaque,
    )
    key = normalise_code(code)
    for known in LocalSignType.objects.owned_by(organisation).values_list("code", flat=True):
        if normalise_code(known) == key:
            msg = f"{organisation} already has a sign type '{known}'; use another code."
            raise StateConflictError(msg)
    row = LocalSignType(
        organisation=organisation,
        code=code.strip(),
        name=name.strip(),
        series=series,
        shape=shape or "",
        background_color=background or "",
        legend_color=legend or "",
        symbol_class=symbol_class or "",
        width_in=None if width_in is None else float(width_in),
        height_in=None if height_in is None else float(height_in),
        is_plaque=is_plaque,
    )
    row.full_clean(exclude=["organisation"])
    row.save()
    log(
        organisation=organisation,
        actor=by,
        verb="add sign type",
        text=f"Sign type {row} added.",
        at=now,
    )
    return row


@transaction.atomic
def add_code_alias(
    *, organisation: Organisation, alias: str, code: str, now: datetime, by: User | None = None
) -> CodeAlias:
    """Let an agency's own word stand for a code; a word that leads nowhere is refused."""
    book = CodeBook(
        local_types=[_as_sign_type(r) for r in LocalSignType.objects.owned_by(organisation)],
        aliases={alias: code},
    )
    found = book.resolve(alias)
    if CodeAlias.objects.owned_by(organisation).filter(alias=normalise_code(alias)).exists():
        msg = f"{organisation} already has the alias '{alias}'; choose another word."
        raise StateConflictError(msg)
    row = CodeAlias(organisation=organisation, alias=normalise_code(alias), code=code.strip())
    row.full_clean(exclude=["organisation"])
    row.save()
    log(
        organisation=organisation,
        actor=by,
        verb="add alias",
        text=f"'{alias}' now stands for {found.sign_type.code}{found.variant}.",
        at=now,
    )
    return row

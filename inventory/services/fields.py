"""Fields that do not fit their record, refused in a sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db import models


def check_fields(record: models.Model, exclude: Sequence[str] = ()) -> None:
    """Refuse a record of which a field is too long, of the wrong kind, or empty by mistake."""
    try:
        record.clean_fields(exclude=list(exclude))
    except ValidationError as error:
        told = "; ".join(
            f"{_words(record, name)}: {' '.join(messages)}"
            for name, messages in error.message_dict.items()
        )
        msg = f"This {record._meta.verbose_name} cannot be saved. {told}"
        raise OutOfRangeError(msg) from error


def check_storable(text: str, name: str) -> None:
    """Refuse a text with characters that a database cannot hold."""
    if not is_storable(text):
        msg = (
            f"The {name} holds a character that cannot be kept (a NUL, or half of a pair); "
            "take it out, or type the text anew."
        )
        raise OutOfRangeError(msg)


def is_storable(text: str) -> bool:
    """Return whether a database can hold a text: no NUL, and no half of a surrogate pair."""
    if "\0" in text:
        return False
    return text.isascii() or not any("\ud800" <= each <= "\udfff" for each in text)


def _words(record: models.Model, name: str) -> str:
    return str(getattr(record._meta.get_field(name), "verbose_name", name))

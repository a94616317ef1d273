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


def _words(record: models.Model, name: str) -> str:
    return str(getattr(record._meta.get_field(name), "verbose_name", name))

"""The rows a step leaves behind, copied and stored again by ``bulk_create`` alone."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db import models, transaction
from django.db.models import Max

from inventory.models import Standing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

Rows = dict[type[models.Model], list[Any]]

STANDING_FIELDS = [
    each.name for each in Standing._meta.concrete_fields if each.name not in ("id", "sign")
]


def newest_keys() -> dict[type[models.Model], int]:
    """Return the highest key of every record there is, before a step."""
    return {
        model: model._base_manager.aggregate(newest=Max("pk"))["newest"] or 0
        for model in apps.get_app_config("inventory").get_models()
    }


def rows_left(before: dict[type[models.Model], int], began_at: datetime) -> Rows:
    """Return every row that a step added, and the standings it wrote anew."""
    rows: Rows = {
        model: list(model._base_manager.filter(pk__gt=newest).order_by("pk"))
        for model, newest in before.items()
    }
    rows[Standing] = list(
        Standing._base_manager.filter(rebuilt_at__gte=began_at).order_by("pk")
    )
    return {model: rows[model] for model in _parents_first(m for m in rows if rows[m])}


def copies_of(rows: Rows) -> Rows:
    """
    Return the same rows as new ones, ready to be stored: no key, and unique ids of their own.

    A copy points to the copies of what its row points to, as objects, since their keys are
    only known once they are stored.
    """
    copies: dict[tuple[Any, int], models.Model] = {}
    for model, originals in rows.items():
        fields = [each for each in model._meta.concrete_fields if not each.primary_key]
        for row in originals:
            copy = model(**{each.attname: getattr(row, each.attname) for each in fields})
            for each in fields:
                if isinstance(each, models.UUIDField) and each.unique:
                    setattr(copy, each.attname, uuid.uuid4())
                elif isinstance(each, models.ForeignKey):
                    pointed_to = copies.get((each.related_model, getattr(row, each.attname)))
                    if pointed_to is not None:
                        setattr(copy, each.name, pointed_to)
            copies[model, row.pk] = copy
    return {model: [copies[model, row.pk] for row in each] for model, each in rows.items()}


def store_plainly(copies: Rows) -> None:
    """Store rows in one transaction, each kind by ``bulk_create``; standings are replaced."""
    with transaction.atomic():
        for model, rows in copies.items():
            if model is Standing:
                Standing.objects.bulk_create(
                    rows,
                    update_conflicts=True,
                    unique_fields=["sign"],
                    update_fields=STANDING_FIELDS,
                )
            else:
                model._base_manager.bulk_create(rows)


def count_words(rows: Rows) -> str:
    """Return how many rows of each kind there are."""
    return ", ".join(
        f"{model._meta.verbose_name} {len(each):,}" for model, each in rows.items()
    )


def _parents_first(chosen: Iterable[type[models.Model]]) -> list[type[models.Model]]:
    """Return kinds of record in an order in which none points to a later one."""
    waiting = list(chosen)
    ordered: list[type[models.Model]] = []
    while waiting:
        for model in waiting:
            parents = {
                each.related_model
                for each in model._meta.concrete_fields
                if isinstance(each, models.ForeignKey) and each.related_model is not model
            }
            if not parents & set(waiting):
                ordered.append(model)
                waiting.remove(model)
                break
        else:
            msg = f"These point to each other: {waiting}."
            raise ValueError(msg)
    return ordered

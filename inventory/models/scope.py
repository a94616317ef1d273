"""Who may read what: every query starts from an organisation.

A record names, for each part an organisation can play towards it, the path to that
organisation and the columns that part may read. A manager gives no rows until it is told
who asks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.db import models

from inventory.errors import StateConflictError

if TYPE_CHECKING:
    from inventory.models.people import Organisation

ALL_COLUMNS = ("*",)


class ScopedQuerySet(models.QuerySet[Any]):
    """Rows that can be narrowed to what one organisation may read."""

    def owned_by(self, organisation: Organisation) -> Self:
        """Rows the organisation owns."""
        return self.filter(**{self.model.reader_paths["owner"]: organisation})

    def readable_by(self, organisation: Organisation) -> Self:
        """Rows the organisation may read in any part it plays: owner, counterparty or maker."""
        condition = models.Q()
        for part in self.model.reader_paths:
            condition |= self._readable_as(part, organisation)
        rows = self.filter(condition)
        # A path through a to-many relation can repeat a row.
        return rows.distinct() if self.model.reader_paths_repeat else rows

    def _readable_as(self, part: str, organisation: Organisation) -> models.Q:
        """Return which rows the organisation may read in one part it plays."""
        model: type[Scoped] = self.model
        condition = models.Q(**{model.reader_paths[part]: organisation})
        return condition & model.reader_conditions.get(part, models.Q())

    def rows_for(self, organisation: Organisation) -> list[dict[str, Any]]:
        """Return the readable rows as mappings holding only the columns the reader may see."""
        concrete = [f.attname for f in self.model._meta.concrete_fields]
        out: dict[Any, dict[str, Any]] = {}
        for part, columns in self.model.reader_columns.items():
            names = concrete if columns == ALL_COLUMNS else list(columns)
            rows = self.filter(self._readable_as(part, organisation))
            for row in rows.values("pk", *names):
                out.setdefault(row["pk"], {}).update(row)
        return list(out.values())


ScopedManager = models.Manager.from_queryset(ScopedQuerySet)


class Scoped(models.Model):
    """
    A record that says which organisations may read it, and which of its columns.

    A part may read every row that its path leads from, or those that also meet the part's
    condition: a shop reads an order once it is released.
    """

    reader_paths: ClassVar[dict[str, str]] = {"owner": "organisation"}
    reader_columns: ClassVar[dict[str, tuple[str, ...]]] = {"owner": ALL_COLUMNS}
    reader_conditions: ClassVar[dict[str, models.Q]] = {}
    reader_paths_repeat: ClassVar[bool] = False

    objects = ScopedManager()

    class Meta:
        abstract = True


def _refuse_change(model: type[models.Model]) -> StateConflictError:
    msg = (
        f"A stored {model._meta.verbose_name} is a fact and is never changed or deleted; "
        "record a new one that corrects it."
    )
    return StateConflictError(msg)


class FactQuerySet(ScopedQuerySet):
    """Rows that can be added and read, never changed or deleted."""

    def update(self, **kwargs: Any) -> int:
        """Refuse: a fact is corrected by a new row."""
        raise _refuse_change(self.model)

    def delete(self) -> tuple[int, dict[str, int]]:
        """Refuse: a fact stays."""
        raise _refuse_change(self.model)

    def bulk_create(self, *args: Any, **kwargs: Any) -> list[Any]:
        """Add rows; writing over existing ones is refused."""
        if kwargs.get("update_conflicts"):
            raise _refuse_change(self.model)
        return super().bulk_create(*args, **kwargs)


FactManager = models.Manager.from_queryset(FactQuerySet)


class Fact(Scoped):
    """A record of what was seen, measured, done or concluded; written once."""

    objects = FactManager()  # type: ignore[misc] # a narrower manager of the same kind

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Save a new fact; an existing one is refused."""
        if not self._state.adding:
            raise _refuse_change(type(self))
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        """Refuse: a fact stays."""
        raise _refuse_change(type(self))

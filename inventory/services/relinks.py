"""What counts for another sign or stands for another support while a merge stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q

from inventory.models import RelinkedInspection, Sign, SignMerge, SupportMerge

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


def relinked_to(sign_ids: Sequence[int]) -> dict[int, int]:
    """Return the inspections that count for these signs through a merge, and for which."""
    rows = RelinkedInspection.objects.filter(sign__in=sign_ids, merge__undo__isnull=True)
    return dict(rows.order_by("pk").values_list("inspection_id", "sign_id"))


def counts_for(sign_ids: Sequence[int], relinked: dict[int, int], path: str = "") -> Q:
    """
    Return the condition on inspections that count for signs: their own and relinked ones.

    With ``path``, the condition on what belongs to an inspection, such as ``inspection__``.
    """
    own = Q(**{f"{path}sign__in": sign_ids})
    return own | Q(**{f"{path}pk__in": list(relinked)}) if relinked else own


def signs_kept_for(sign_ids: Iterable[int]) -> dict[int, int]:
    """Return those of the signs that are merged away, each with the one that is kept for it."""
    return _followed(SignMerge, sign_ids)


def supports_kept_for(support_ids: Iterable[int]) -> dict[int, int]:
    """Return those of the supports that are merged away, each with the one kept for it."""
    return _followed(SupportMerge, support_ids)


def positions_kept_for(position_ids: Iterable[int]) -> dict[int, int]:
    """Return the places retired by a merge of signs, each with that of the sign kept."""
    rows = SignMerge.objects.filter(retired_position__in=position_ids, undo__isnull=True)
    duplicate_at = dict(rows.values_list("retired_position_id", "duplicate_id"))
    kept_for = signs_kept_for(duplicate_at.values())
    place_of = dict(
        Sign.objects.filter(pk__in=kept_for.values(), position__isnull=False).values_list(
            "pk", "position_id"
        )
    )
    return {
        position: place_of[kept_for[duplicate]]
        for position, duplicate in duplicate_at.items()
        if kept_for[duplicate] in place_of
    }


def _followed(
    merges: type[SignMerge] | type[SupportMerge], keys: Iterable[int]
) -> dict[int, int]:
    """Follow merges that stand to their end; one of a kept one leads further on."""
    wanted = list(keys)
    kept_for: dict[int, int] = {}
    waiting = set(wanted)
    while waiting:
        rows = merges.objects.filter(duplicate__in=waiting, undo__isnull=True).order_by("pk")
        found = dict(rows.values_list("duplicate_id", "kept_id"))
        kept_for |= found
        waiting = set(found.values()) - set(kept_for)
    return {key: _last(key, kept_for) for key in wanted if key in kept_for}


def _last(key: int, kept_for: dict[int, int]) -> int:
    while key in kept_for:
        key = kept_for[key]
    return key

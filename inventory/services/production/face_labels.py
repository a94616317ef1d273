"""What the label on a face's back says, and which labels were made."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from inventory.engineering.production.press_log import loaded_during
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    FaceLabel,
    LabelBatch,
    LabelSheet,
    OverlayRoll,
    SheetingRoll,
    Sign,
)
from inventory.services.logbook import log
from inventory.services.production.faces import sheeting_words
from inventory.services.production.press_log import logged_events

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from inventory.models import Organisation, PrintRun, User

MOST_LABELS = 500
NOT_KNOWN = "not known"
LABEL_PATH = "l"


@dataclass(frozen=True)
class LabelWords:
    """
    What a label says, in words; every one filled: what is not known says so.

    ``made`` is the month and year of fabrication and who made it; ``overlay`` the overlay
    film's lot or that there is none.
    """

    label_id: str
    address: str
    code: str
    size: str
    legend: str
    made: str
    sheeting: str
    overlay: str
    order: str
    agency: str


@dataclass(frozen=True)
class Measures:
    """A sheet's measures, in inches."""

    page_width_in: float
    page_height_in: float
    left_in: float
    top_in: float
    columns: int
    rows: int
    label_width_in: float
    label_height_in: float
    gap_across_in: float
    gap_down_in: float

    @property
    def places(self) -> int:
        """Return how many labels a page holds."""
        return self.columns * self.rows


@transaction.atomic
def add_sheet(
    *,
    shop: Organisation,
    name: str,
    measures: Measures,
    by: User | None = None,
    now: datetime | None = None,
) -> LabelSheet:
    """Keep the measures of a sheet of labels; a label and its neighbours lie on the page."""
    name = name.strip()
    if not name:
        msg = "Give the sheet a name, such as the words on its box."
        raise OutOfRangeError(msg)
    check_measures(measures)
    if LabelSheet.objects.filter(organisation=shop, name=name).exists():
        msg = f"{shop} has a sheet '{name}' already; give this one another name."
        raise StateConflictError(msg)
    sheet: LabelSheet = LabelSheet.objects.create(
        organisation=shop, name=name, **asdict(measures)
    )
    log(
        organisation=shop,
        actor=by,
        verb="add label sheet",
        text=f"Label sheet '{name}': {measures.columns} × {measures.rows} labels of "
        f"{measures.label_width_in:g} × {measures.label_height_in:g} in.",
        at=now or timezone.now(),
    )
    return sheet


def check_measures(measures: Measures) -> None:
    """
    Refuse labels that do not lie on their page.

    Raises
    ------
    OutOfRangeError
        With the length that is too long and what there is.
    """
    if not (measures.columns >= 1 and measures.rows >= 1):
        msg = f"A sheet of {measures.columns} × {measures.rows} labels holds none; count again."
        raise OutOfRangeError(msg)
    for label, count, gap, start, page, words in (
        (
            measures.label_width_in,
            measures.columns,
            measures.gap_across_in,
            measures.left_in,
            measures.page_width_in,
            "across",
        ),
        (
            measures.label_height_in,
            measures.rows,
            measures.gap_down_in,
            measures.top_in,
            measures.page_height_in,
            "down",
        ),
    ):
        if not (0.5 <= label <= 12 and 0 <= gap <= 12 and start >= 0 and 0.5 <= page <= 48):
            msg = (
                f"A label of {label:g} in, {gap:g} in apart, on a page of {page:g} in {words} "
                "is out of range: labels are 0.5 to 12 in, pages up to 48 in."
            )
            raise OutOfRangeError(msg)
        needed = start + count * label + (count - 1) * gap
        if needed > page + 1e-6:
            msg = (
                f"{count} labels of {label:g} in with their gaps need {needed:g} in {words}, "
                f"and the page has {page:g} in. Measure the sheet again."
            )
            raise OutOfRangeError(msg)


@transaction.atomic
def make_batch(
    *,
    shop: Organisation,
    sheet: LabelSheet,
    signs: Sequence[Sign],
    first_place: int = 1,
    by: User | None = None,
    now: datetime | None = None,
) -> LabelBatch:
    """Put on record that labels are printed; one printed before may be printed again."""
    now = now or timezone.now()
    if sheet.organisation_id != shop.pk:
        msg = f"'{sheet}' is no label sheet of {shop}."
        raise StateConflictError(msg)
    if not 1 <= first_place <= sheet.places:
        msg = (
            f"There is no place {first_place} on a sheet of {sheet.places} labels; the first "
            f"free one is 1 to {sheet.places}."
        )
        raise OutOfRangeError(msg)
    if not signs or len(signs) > MOST_LABELS:
        msg = f"{len(signs)} labels cannot be printed; pick 1 to {MOST_LABELS} faces."
        raise OutOfRangeError(msg)
    for sign in signs:
        if sign.maker_id != shop.pk or not sign.label_id:
            msg = f"{sign} was not made by {shop} or has no label id; leave it out."
            raise StateConflictError(msg)
    batch: LabelBatch = LabelBatch.objects.create(
        organisation=shop,
        sheet=sheet,
        measures={name: getattr(sheet, name) for name in Measures.__dataclass_fields__},
        first_place=first_place,
        made_at=now,
        made_by=by,
    )
    FaceLabel.objects.bulk_create(
        [
            FaceLabel(batch=batch, sign=sign, number=number)
            for number, sign in enumerate(signs, start=1)
        ]
    )
    log(
        organisation=shop,
        actor=by,
        verb="print labels",
        text=f"{len(signs)} labels made on '{sheet}'.",
        at=now,
    )
    return batch


def words_of(signs: Iterable[Sign]) -> list[LabelWords]:
    """Return what each label says, in the order given; queries grow with the runs alone."""
    keys = [sign.pk for sign in signs]
    rows = {
        sign.pk: sign
        for sign in Sign.objects.filter(pk__in=keys).select_related(
            "maker",
            "owner",
            "print_run__press",
            "layout_face__layout__order__agency",
            "layout_face__line",
        )
    }
    runs: dict[int, PrintRun] = {
        sign.print_run.pk: sign.print_run
        for sign in rows.values()
        if sign.print_run is not None
    }
    loaded = {key: _Loaded.of(run) for key, run in runs.items()}
    return [_words(rows[key], loaded) for key in keys]


@dataclass(frozen=True)
class _Loaded:
    """What a run's faces were made of."""

    sheeting: str
    overlay: str

    @classmethod
    def of(cls, run: PrintRun) -> _Loaded:
        spans = loaded_during(logged_events(run.press), run.started_at, run.finished_at)
        rolls = list(
            SheetingRoll.objects.filter(pk__in={s.loaded.roll for s in spans} - {None})
        )
        overlays = OverlayRoll.objects.filter(
            pk__in={s.loaded.overlay for s in spans} - {None}
        ).order_by("pk")
        sheeting = NOT_KNOWN
        if len(rolls) == 1:
            roll = rolls[0]
            kind = sheeting_words(roll.color, roll.sheeting_type, roll.optics)
            sheeting = f"{kind}, lot {roll.lot}"
        overlay = " or ".join(f"lot {each.lot}" for each in overlays) or "none"
        if not spans or not all(span.loaded.is_overlay_known for span in spans):
            overlay = NOT_KNOWN
        return cls(sheeting, overlay)


def _words(sign: Sign, loaded: dict[int, _Loaded]) -> LabelWords:
    face = getattr(sign, "layout_face", None)
    order = face.layout.order if face is not None else None
    agency = sign.owner or (order.agency if order is not None else None)
    made_of = loaded.get(sign.print_run_id or 0)
    return LabelWords(
        label_id=sign.label_id or "",
        address=f"{settings.SITE_ADDRESS.rstrip('/')}/{LABEL_PATH}/{sign.label_id}",
        code=f"{sign.sign_code}{sign.variant}" or NOT_KNOWN,
        size=_size_words(sign),
        legend=sign.legend_text,
        made=f"{_month_words(sign)} {_initials(sign.maker)}".strip(),
        sheeting=made_of.sheeting if made_of else NOT_KNOWN,
        overlay=made_of.overlay if made_of else NOT_KNOWN,
        order=order.number if order is not None else NOT_KNOWN,
        agency=_initials(agency),
    )


def _size_words(sign: Sign) -> str:
    if sign.width_in is None or sign.height_in is None:
        return "size not known"
    return f"{sign.width_in:g} × {sign.height_in:g} in"


def _month_words(sign: Sign) -> str:
    day = sign.fabricated_on
    if day is None:
        return "date not known"
    return f"{day:%Y}" if sign.fabricated_precision == "year" else f"{day:%m/%Y}"


def _initials(organisation: Organisation | None) -> str:
    if organisation is None:
        return NOT_KNOWN
    return str(organisation.initials or organisation)


def label_counts(signs: Iterable[Sign]) -> dict[int, int]:
    """Return how often a label was made for each face, by its key."""
    counts: dict[int, int] = {}
    rows: Any = FaceLabel.objects.filter(sign__in=[sign.pk for sign in signs]).order_by("pk")
    for key in rows.values_list("sign", flat=True):
        counts[key] = counts.get(key, 0) + 1
    return counts

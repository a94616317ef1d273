"""What is known of how a face was made, and the readings of new faces at the shop."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.utils import timezone

from inventory.engineering.inspection.readings import check_taken_at, parse_reading
from inventory.engineering.inspection.usability import check_geometry
from inventory.engineering.production.press_log import loaded_during
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LaidPiece, OverlayRoll, QualityReading, SheetingRoll, Sign
from inventory.services.logbook import log
from inventory.services.production.after_press import NOT_KNOWN, rows_after_press
from inventory.services.production.build_doubts import face_doubts
from inventory.services.production.faces import frozen_build
from inventory.services.production.maintenance import checks_around_run, dryer_at
from inventory.services.production.print_positions import spans_of_run
from inventory.services.production.roll_lengths import IN_PER_FT
from inventory.services.production.what_was_on import logged_events

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.engineering.production.maintenance import ChecksAround
    from inventory.engineering.production.press_log import LoadedSpan, LoggedEvent
    from inventory.models import OrderLine, PrintOrder, PrintRun, User


@dataclass(frozen=True)
class InkUsed:
    """
    The ink lots of one channel that a face was printed with.

    Two or more if the container was changed while the face was printed.
    """

    channel: str
    color: str
    lots: tuple[str, ...]

    def __str__(self) -> str:
        lots = " or ".join(self.lots)
        return f"{self.color or 'colour not known'}, lot {lots}"


@dataclass(frozen=True)
class ProductionRecord:
    """How a face was made, as far as it is known: what is ``None`` or empty is not."""

    sign: Sign
    run: PrintRun | None
    roll: SheetingRoll | None
    inks: tuple[InkUsed, ...]
    overlays: tuple[OverlayRoll, ...]
    is_overlay_known: bool
    order: PrintOrder | None
    line: OrderLine | None
    quality_readings: tuple[QualityReading, ...]
    place: LaidPiece | None = None
    is_split_estimated: bool = False
    checks: tuple[ChecksAround, ...] = ()
    dryer_f: float | None = None
    build_words: str = ""
    build_doubts: tuple[str, ...] = ()
    after_press: tuple[tuple[str, str], ...] = ()

    @property
    def split_words(self) -> str:
        """Return how the run was split where something on the press changed; else empty."""
        if not self.is_split_estimated:
            return ""
        return "estimated by time: the position at a change in mid-run was not noted"

    @property
    def place_words(self) -> str:
        """Return where on the roll it lay, from the start and the edge of the run's load."""
        if self.place is None:
            return NOT_KNOWN
        return (
            f"{self.place.along_in / IN_PER_FT:.1f} ft from the start of the load, "
            f"{self.place.across_in:.1f} in from the edge"
        )

    @property
    def overlay_words(self) -> str:
        """Return the overlay's roll and lot, 'none', or 'not known'."""
        if not self.is_overlay_known:
            return NOT_KNOWN
        return " or ".join(str(each) for each in self.overlays) or "none"

    @property
    def rows(self) -> list[tuple[str, str]]:
        """Return the record as pairs of words, every one filled; what is not known says so."""
        sign, run, roll = self.sign, self.run, self.roll
        rows = [
            ("label", sign.label_id or NOT_KNOWN),
            ("made by", str(sign.maker) if sign.maker else NOT_KNOWN),
            ("made on", _fabricated_words(sign)),
            ("order", f"{self.order.number}" if self.order else NOT_KNOWN),
            ("run", run.run_number if run else NOT_KNOWN),
            ("number in the run", str(sign.print_number) if sign.print_number else NOT_KNOWN),
            ("press", str(run.press) if run else NOT_KNOWN),
            ("operator", str(run.operator) if run and run.operator else NOT_KNOWN),
            ("sheeting roll", roll.roll_number if roll else NOT_KNOWN),
            ("sheeting lot", roll.lot if roll else NOT_KNOWN),
            ("place on the roll", self.place_words),
            ("overlay", self.overlay_words),
            ("to be built", self.build_words or NOT_KNOWN),
        ]
        if self.build_doubts:
            rows.append(("but look at", " ".join(self.build_doubts)))
        rows.extend((f"ink {each.channel}", str(each)) for each in self.inks)
        if not self.inks:
            rows.append(("inks", NOT_KNOWN))
        if self.split_words:
            rows.append(("which of several lots", self.split_words))
        heat = NOT_KNOWN if self.dryer_f is None else f"{self.dryer_f:g} °F"
        return [*rows, ("dryer", heat), *self._check_rows(), *self.after_press]

    def _check_rows(self) -> list[tuple[str, str]]:
        """Return the checks before and after the run as pairs of words."""
        if not self.checks:
            return [("check before the run", NOT_KNOWN), ("check after the run", NOT_KNOWN)]
        shop = self.sign.maker
        rows = []
        for each in self.checks:
            name = f"{each.kind} check" if each.kind else "print check"
            for check, side in ((each.before, "before"), (each.after, "after")):
                words = NOT_KNOWN
                if check is not None and shop is not None:
                    outcome = "passed" if check.is_passed else "failed"
                    words = f"{outcome}, {shop.clock_words(check.happened_at)}"
                rows.append((f"{name} {side} the run", words))
        return rows


def production_record(
    sign: Sign, press_log: Sequence[LoggedEvent] | None = None
) -> ProductionRecord:
    """
    Return what is known of how a face was made, what was loaded from the press log.

    Where something was changed in mid-run, what was on when this face was printed. Who asks of
    many faces may hand over the whole log of the press, read once.
    """
    run = sign.print_run
    try:
        face = sign.layout_face
    except ObjectDoesNotExist:
        face = None
    spans: tuple[LoadedSpan, ...] = ()
    is_split_estimated = False
    checks: list[ChecksAround] = []
    dryer = None
    if run is not None:
        spans = loaded_during(
            press_log or logged_events(run.press), run.started_at, run.finished_at
        )
        if len(spans) > 1:
            where = spans_of_run(run, spans)[sign.pk]
            spans = spans[where.first : where.last + 1]
            is_split_estimated = where.is_estimated
        checks = checks_around_run(run)
        dryer = dryer_at(run.press, run.started_at)
    rolls = SheetingRoll.objects.filter(pk__in={span.loaded.roll for span in spans} - {None})
    roll = rolls.first() if len(rolls) == 1 else None
    overlay_keys = {span.loaded.overlay for span in spans} - {None}
    line = face.line if face is not None else None
    build = frozen_build(line) if line is not None else None
    return ProductionRecord(
        sign=sign,
        run=run,
        roll=roll,
        inks=_inks_used(spans),
        overlays=tuple(OverlayRoll.objects.filter(pk__in=overlay_keys).order_by("pk")),
        is_overlay_known=bool(spans) and all(span.loaded.is_overlay_known for span in spans),
        order=face.layout.order if face is not None else None,
        line=line,
        quality_readings=tuple(sign.quality_readings.order_by("taken_at", "pk")),
        place=LaidPiece.objects.filter(face__printed_as__sign=sign).order_by("part").first(),
        is_split_estimated=is_split_estimated,
        checks=tuple(checks),
        dryer_f=None if dryer is None else dryer.dryer_f,
        build_words=build.words if build is not None else "",
        build_doubts=face_doubts(line, run, roll, spans),
        after_press=rows_after_press(sign),
    )


@transaction.atomic
def record_quality_reading(
    *,
    sign: Sign,
    color: str,
    typed: str,
    observation_angle_deg: str = "0.2",
    entrance_angle_deg: str = "-4.0",
    taken_at: datetime | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> QualityReading:
    """Store one reading of a new face at the shop, as the decimals that were typed."""
    now = now or timezone.now()
    taken_at = taken_at or now
    if sign.maker is None:
        msg = (
            f"It is not known which shop made {sign}; readings at the shop are kept for the "
            "shop's own faces. Record an inspection instead."
        )
        raise StateConflictError(msg)
    colors = list(sign.colour_areas.values_list("color", flat=True))
    if color not in colors:
        msg = f"{str(sign).capitalize()} has no {color}; its colours are {', '.join(colors)}."
        raise OutOfRangeError(msg)
    value = parse_reading(typed)
    observation, entrance = _angle(observation_angle_deg), _angle(entrance_angle_deg)
    check_geometry(observation, entrance)
    check_taken_at(taken_at, now)
    reading: QualityReading = QualityReading.objects.create(
        sign=sign,
        color=color,
        typed=typed.strip(),
        ra_cd_lx_m2=value,
        observation_angle_deg=observation,
        entrance_angle_deg=entrance,
        taken_at=taken_at,
        recorded_at=now,
        recorded_by=by,
    )
    log(
        organisation=sign.maker,
        actor=by,
        verb="record quality reading",
        text=f"{str(sign).capitalize()}: {color} read {reading.typed} cd/lx/m² when new.",
        at=now,
        sign=sign,
    )
    return reading


def _inks_used(spans: Sequence[LoadedSpan]) -> tuple[InkUsed, ...]:
    """Return the inks of a face by channel, lots in the order in which they were on."""
    lots: dict[str, list[str]] = {}
    colors: dict[str, str] = {}
    for span in spans:
        for channel, ink in span.loaded.inks.items():
            of_channel = lots.setdefault(channel, [])
            if ink.lot not in of_channel:
                of_channel.append(ink.lot)
            colors[channel] = ink.color or colors.get(channel, "")
    return tuple(
        InkUsed(channel, colors[channel], tuple(lots[channel])) for channel in sorted(lots)
    )


def _fabricated_words(sign: Sign) -> str:
    if sign.fabricated_on is None:
        return NOT_KNOWN
    pattern = {"day": "%Y-%m-%d", "month": "%Y-%m", "year": "%Y"}[sign.fabricated_precision]
    return sign.fabricated_on.strftime(pattern)


def _angle(text: str) -> Decimal:
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite():
        msg = f"'{text}' is no angle; write it in degrees, such as 0.2 or -4.0."
        raise OutOfRangeError(msg)
    return value

"""Twelve years at the shop: rolls, film, inks, runs, and the orders they belong to."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.engineering.standards.catalogue import exact_sign_type
from inventory.models import (
    InkChannel,
    InkContainer,
    InkKind,
    LayoutFace,
    LogbookEntry,
    MaintenanceTask,
    OrderLine,
    OverlayRoll,
    Press,
    PressEvent,
    PrintOrder,
    PrintRun,
    QualityReading,
    RollLayout,
    SheetingRoll,
    ShopRule,
)
from inventory.services.demo.faces import base_color, colours_of
from inventory.services.demo.readings import as_shown, measured_colours, true_value
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from inventory.models import Organisation, Position, Sign, User
    from inventory.services.demo.faces import FacePlan, RunPlan
    from inventory.services.demo.roadside import Roadside

RUN_STARTS_H = 10
QUALITY_FACES = 4
MAINTENANCE_EVERY = timedelta(days=91)
LOST_SHARE = 0.1  # of a roll's length, between faces and at the ends
SET_UP = timedelta(minutes=35)

Kind = PressEvent.Kind


def moment(day: date, hour: int, minute: int = 0) -> datetime:
    """Return a time of a day, in UTC."""
    return datetime.combine(day, time(hour, minute), tzinfo=UTC)


def _released_at(run: RunPlan) -> datetime:
    return moment(run.on - timedelta(days=14), 13)


@dataclass(slots=True)
class Parties:
    """Who acts in the scenario."""

    agency: Organisation
    shop: Organisation
    engineer: User
    operator: User


@dataclass(slots=True)
class PressHistory:
    """Stores the shop's side; what was loaded during a run follows from the events."""

    parties: Parties
    site: Roadside
    last_day: date
    press: Press = field(init=False)
    rolls: dict[str, SheetingRoll] = field(init=False, default_factory=dict)
    stored_runs: dict[str, PrintRun] = field(init=False, default_factory=dict)

    def store_press(self, runs: list[RunPlan]) -> None:
        """Store the press, what it was fed, its events and its runs."""
        data = words("press")
        shop = self.parties.shop
        self.press = Press.objects.create(
            organisation=shop,
            name=data["press"]["name"],
            width_in=data["press"]["width_in"],
            rate_ft2_per_h=data["press"]["rate_ft2_per_h"],
        )
        rolls = SheetingRoll.objects.bulk_create(
            SheetingRoll(
                organisation=shop,
                roll_number=each["roll_number"],
                lot=each["lot"],
                sheeting_type=each["sheeting_type"],
                optics="prismatic",
                color=each["color"],
                width_in=data["roll"]["width_in"],
                length_ft=data["roll"]["length_ft"],
                received_on=each["received_on"],
            )
            for each in data["rolls"]
        )
        self.rolls = {roll.roll_number: roll for roll in rolls}
        months = words("press")["shelf_months"]
        ShopRule.objects.create(
            organisation=shop,
            sheeting_months=months["sheeting"],
            overlay_months=months["overlay"],
            ink_months=months["ink"],
            set_at=moment(words("press")["press"]["started_on"], 9),
            set_by=self.parties.operator,
        )
        events = self._overlay_events() + self._maintenance_events() + self._ink_events(runs)
        stored: list[PrintRun] = []
        left_ft = {number: roll.length_ft for number, roll in self.rolls.items()}
        for run in runs:
            if run.faces:
                row = self._run_row(run)
                stored.append(row)
                left_ft[run.roll_number] -= row.roll_length_used_ft or 0.0
                events += self._run_events(run, row, left_ft[run.roll_number])
        PressEvent.objects.bulk_create(sorted(events, key=lambda event: event.happened_at))
        self.stored_runs = {run.run_number: run for run in PrintRun.objects.bulk_create(stored)}

    def _event(self, kind: str, at: datetime, **fields: object) -> PressEvent:
        return PressEvent(
            press=self.press,
            kind=kind,
            happened_at=at,
            recorded_at=at + timedelta(minutes=2),
            recorded_by=self.parties.operator,
            **fields,
        )

    def _overlay_events(self) -> list[PressEvent]:
        data = words("press")
        films = OverlayRoll.objects.bulk_create(
            OverlayRoll(
                organisation=self.parties.shop,
                roll_number=each["roll_number"],
                lot=each["lot"],
                width_in=data["overlay"]["width_in"],
                length_ft=data["overlay"]["length_ft"],
                received_on=each["received_on"],
            )
            for each in data["overlays"]
        )
        return [
            self._event(Kind.OVERLAY_LOADED, moment(each["loaded_on"], 9), overlay=film)
            for each, film in zip(data["overlays"], films, strict=True)
        ]

    def _maintenance_events(self) -> list[PressEvent]:
        events = []
        day = words("press")["press"]["started_on"]
        tasks = MaintenanceTask.objects.bulk_create(
            MaintenanceTask(press=self.press, **each) for each in words("press")["tasks"]
        )
        task = next(each for each in tasks if each.every_days == MAINTENANCE_EVERY.days)
        while day < self.last_day:
            events.append(self._event(Kind.MAINTENANCE_DONE, moment(day, 14), task=task))
            day += MAINTENANCE_EVERY
        return events

    def _ink_events(self, runs: list[RunPlan]) -> list[PressEvent]:
        """Return a change of every container on the day before a year's first run."""
        data = words("press")["inks"]
        first_runs: dict[int, date] = {}
        for run in runs:
            first_runs.setdefault(run.on.year, run.on)
        InkChannel.objects.bulk_create(
            InkChannel(
                press=self.press,
                name=channel,
                color=color,
                kind=InkKind.SPOT,
                ml_per_m2=data["ml_per_m2"],
                cover_share=data["cover_share"][channel],
            )
            for channel, color in data["channels"].items()
        )
        wanted = [
            (day, number, channel, color)
            for day in first_runs.values()
            for number, (channel, color) in enumerate(data["channels"].items())
        ]
        containers = InkContainer.objects.bulk_create(
            InkContainer(
                organisation=self.parties.shop,
                container_number=f"{channel}-{day.year}",
                lot=f"{channel}-{day.year % 100:02d}{day.month:02d}",
                color=color,
                kind=InkKind.SPOT,
                volume_ml=data["volume_ml"],
                received_on=day - timedelta(days=20),
            )
            for day, _number, channel, color in wanted
        )
        return [
            self._event(
                Kind.INK_CHANGED,
                moment(day - timedelta(days=1), 11, 5 * number),
                ink_channel=channel,
                ink_color=color,
                ink_lot=box.lot,
                ink_kind=box.kind,
                container=box,
            )
            for (day, number, channel, color), box in zip(wanted, containers, strict=True)
        ]

    def _run_row(self, run: RunPlan) -> PrintRun:
        rate = words("press")["press"]["rate_ft2_per_h"]
        width_ft = words("press")["roll"]["width_in"] / 12.0
        area = round(run.area_ft2, 2)
        started_at = moment(run.on, RUN_STARTS_H)
        return PrintRun(
            press=self.press,
            run_number=run.number,
            started_at=started_at,
            finished_at=started_at + SET_UP + timedelta(hours=area / rate),
            printed_area_ft2=area,
            roll_length_used_ft=round(area / width_ft / (1.0 - LOST_SHARE), 1),
            operator=self.parties.operator,
        )

    def _run_events(self, run: RunPlan, row: PrintRun, left_ft: float) -> list[PressEvent]:
        roll = self.rolls[run.roll_number]
        before = row.started_at - timedelta(minutes=30)
        return [
            self._event(Kind.ROLL_LOADED, before, roll=roll),
            self._event(Kind.CHECK_PASSED, before + timedelta(minutes=15), check_kind="nozzle"),
            self._event(
                Kind.CHECK_PASSED, before + timedelta(minutes=20), check_kind="density"
            ),
            self._event(
                Kind.ROLL_TAKEN_OFF,
                row.finished_at + timedelta(minutes=15),
                roll=roll,
                remaining_ft=round(max(0.0, left_ft), 1),
            ),
        ]

    def store_orders(
        self,
        runs: list[RunPlan],
        signs: dict[str, Sign],
        positions: dict[str, Position],
    ) -> None:
        """Store one closed order for each run, with a line and a layout place per face."""
        numbers: dict[int, int] = {}
        entries: list[LogbookEntry] = []
        for run in runs:
            if not run.faces:
                continue
            numbers[run.on.year] = numbers.get(run.on.year, 0) + 1
            order = self._order(run, f"{run.on.year}-{numbers[run.on.year]:03d}")
            lines = OrderLine.objects.bulk_create(
                self._line(order, number, face, signs, positions)
                for number, face in enumerate(run.faces, start=1)
            )
            layout = RollLayout.objects.create(
                order=order,
                roll=self.rolls[run.roll_number],
                print_run=self.stored_runs[run.number],
            )
            LayoutFace.objects.bulk_create(
                LayoutFace(layout=layout, line=line, sign=signs[face.key])
                for line, face in zip(lines, run.faces, strict=True)
            )
            entries += self._entries(order, run)
        LogbookEntry.objects.bulk_create(entries)

    def _order(self, run: RunPlan, number: str) -> PrintOrder:
        return PrintOrder.objects.create(
            agency=self.parties.agency,
            shop=self.parties.shop,
            number=number,
            title=f"Renewals, spring {run.on.year}"
            if run.on.month < 7
            else f"Renewals, autumn {run.on.year}",
            state=PrintOrder.State.CLOSED,
            drafted_at=moment(run.on - timedelta(days=21), 13),
            drafted_by=self.parties.engineer,
            released_at=_released_at(run),
            released_by=self.parties.engineer,
            needed_by_on=run.on + timedelta(days=14),
            press_rate_ft2_per_h=words("press")["press"]["rate_ft2_per_h"],
        )

    def _line(
        self,
        order: PrintOrder,
        number: int,
        face: FacePlan,
        signs: dict[str, Sign],
        positions: dict[str, Position],
    ) -> OrderLine:
        position = face.position
        colours = colours_of(position.code, position.background)
        sign_type = exact_sign_type(position.code)
        earlier = signs.get(f"{position.key}/0")
        return OrderLine(
            order=order,
            number=number,
            position=positions[position.key],
            replaces=earlier,
            sign_code=position.code,
            variant=position.variant,
            legend_text=position.legend,
            is_custom_legend=position.is_custom,
            shape=(sign_type.shape if sign_type else None) or "rectangle",
            width_in=position.width_in or 0.0,
            height_in=position.height_in or 0.0,
            sheeting_type=face.true_type,
            optics=face.true_optics,
            base_color=base_color(colours),
            background_color=colours[0].color,
            legend_color=colours[1].color,
            secondary_color="/".join(each.color for each in colours[2:]),
            reason=f"replaces a face that was {earlier.get_removal_reason_display()}"
            if earlier
            else "",
        )

    def _entries(self, order: PrintOrder, run: RunPlan) -> list[LogbookEntry]:
        faces = len(run.faces)
        steps = (
            (
                self.parties.agency,
                self.parties.engineer,
                "release order",
                f"Order {order.number} released with {faces} faces.",
                _released_at(run),
            ),
            (
                self.parties.shop,
                self.parties.operator,
                "record run",
                f"Run {run.number} recorded: {faces} faces of order {order.number}.",
                self.stored_runs[run.number].finished_at,
            ),
        )
        return [
            LogbookEntry(
                organisation=organisation, actor=actor, verb=verb, text=text, at=at, order=order
            )
            for organisation, actor, verb, text, at in steps
        ]

    def store_quality(self, runs: list[RunPlan], signs: dict[str, Sign]) -> None:
        """Store a few readings of each run's new faces, taken at the shop."""
        rows = []
        for run in runs:
            for face in run.faces[:: max(1, len(run.faces) // QUALITY_FACES)][:QUALITY_FACES]:
                taken_at = self.stored_runs[run.number].finished_at + timedelta(hours=1)
                for colour in measured_colours(face):
                    rng = self.site.rng(f"truth:{face.key}:{colour.color}")
                    value = true_value(rng, face, colour.color, face.true_since)
                    typed = as_shown(value * self.site.rng(f"qc:{face.key}").gauss(1.0, 0.03))
                    rows.append(
                        QualityReading(
                            sign=signs[face.key],
                            color=colour.color,
                            typed=typed,
                            ra_cd_lx_m2=Decimal(typed),
                            observation_angle_deg=Decimal("0.2"),
                            entrance_angle_deg=Decimal("-4"),
                            taken_at=taken_at,
                            recorded_at=taken_at,
                            recorded_by=self.parties.operator,
                        )
                    )
        QualityReading.objects.bulk_create(rows)

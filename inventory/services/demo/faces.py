"""The faces that stand, and stood, in the planned places: who made them, of what, and when."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache
from typing import TYPE_CHECKING

from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.ordering.sheeting import base_sheeting_color
from inventory.engineering.standards.catalogue import exact_sign_type
from inventory.engineering.standards.vocabulary import Color, Optics, Shape
from inventory.models.signs import ColourArea, DatePrecision, Sign
from inventory.services.demo.words import pick, words

if TYPE_CHECKING:
    from collections.abc import Iterable
    from random import Random

    from inventory.services.demo.roadside import PositionPlan, Roadside, SupportPlan

DAYS_PER_YEAR = 365.25
# Colours that only prismatic sheeting comes in (new-sheeting tables).
PRISMATIC_ONLY = frozenset({Color.FLUORESCENT_YELLOW_GREEN.value})


@dataclass(slots=True)
class RunPlan:
    """One run of the press with the faces it printed."""

    number: str
    roll_number: str
    on: date
    sheeting_type: str
    color: str
    fades_times: float
    capacity_ft2: float
    faces: list[FacePlan] = field(default_factory=list)
    area_ft2: float = 0.0


@dataclass(slots=True)
class FacePlan:
    """One face: what is on record, and what is true of it though nobody wrote it down."""

    key: str
    support: SupportPlan
    position: PositionPlan
    true_type: str
    true_optics: str
    true_since: date
    fades_times: float = 1.0
    recorded_type: str = ""
    recorded_optics: str = Optics.UNKNOWN.value
    fabricated_on: date | None = None
    installed_on: date | None = None
    precision: str = DatePrecision.DAY
    removed_on: date | None = None
    removal_reason: str = ""
    run: RunPlan | None = None
    print_number: int | None = None

    @property
    def state(self) -> str:
        """Return whether the face stands or was taken down."""
        return Sign.State.INSTALLED if self.removed_on is None else Sign.State.REMOVED

    def is_up_on(self, day: date) -> bool:
        """Return whether the face stood on a day."""
        return self.true_since < day and (self.removed_on is None or day < self.removed_on)


@dataclass(frozen=True, slots=True)
class ColourPlan:
    """One colour of a face."""

    part: str
    color: str

    @property
    def is_opaque(self) -> bool:
        """Return whether the colour gives nothing back."""
        return self.color == Color.BLACK.value


@cache
def colours_of(code: str, background: str) -> tuple[ColourPlan, ...]:
    """Return the colours of a sign type; a background of the place's own comes first."""
    sign_type = exact_sign_type(code)
    if sign_type is None:
        local = {row["code"]: row for row in words("scenario")["local_types"]}.get(code)
        if local is None:
            return ()
        named = [local["background"], local["legend"]]
    else:
        named = [background or sign_type.background or "", sign_type.legend or ""]
        named += [color for color in sign_type.secondary if color.value not in named]
    parts = [ColourArea.Part.BACKGROUND, ColourArea.Part.LEGEND]
    parts += [ColourArea.Part.SECONDARY] * (len(named) - 2)
    return tuple(
        ColourPlan(part, str(color)) for part, color in zip(parts, named, strict=True) if color
    )


def base_color(colours: tuple[ColourPlan, ...]) -> str:
    """Return the colour of the sheeting a face is printed on."""
    background, *others = [Color(each.color) for each in colours]
    return base_sheeting_color(background, others).value


def sheeting_area_ft2(position: PositionPlan) -> float:
    """Return the sheeting one face takes."""
    if position.width_in is None or position.height_in is None:
        return 0.0
    sign_type = exact_sign_type(position.code)
    shape = sign_type.shape if sign_type else Shape.RECTANGLE
    return face_outline(shape, position.width_in, position.height_in).rectangle_area_ft2


class FacePlanner:
    """Gives each planned place its faces, from the seed."""

    def __init__(self, site: Roadside, size: float, last_day: date) -> None:
        self.site = site
        self.last_day = last_day
        self.wear = words("wear")
        self.runs = _plan_runs(size)
        self.faces: list[FacePlan] = []

    def plan(self) -> None:
        """Plan every face: the runs take their share, the rest came from elsewhere."""
        places = [(s, p) for s in self.site.supports for p in s.positions]
        printed = self._share_out(places)
        for support, position in places:
            # The two faces of one panel share its life.
            rng = self.site.rng(f"face:{position.panel}")
            run = printed.get(position.panel)
            if run is not None:
                self._plan_printed(support, position, run, rng)
            elif rng.random() >= self.wear["older"]["vacant_share"]:
                self.faces.append(self._other_face(support, position, rng))
        for run in self.runs:
            run.faces.sort(key=lambda face: (face.position.code, face.key))
            for number, face in enumerate(run.faces, start=1):
                face.print_number = number

    def _share_out(
        self, places: Iterable[tuple[SupportPlan, PositionPlan]]
    ) -> dict[str, RunPlan]:
        """Return which run printed which panel, until each roll is used up."""
        area_ft2: dict[str, float] = {}
        waiting: dict[str, dict[str, float]] = {}
        for support, position in places:
            area = sheeting_area_ft2(position)
            colours = colours_of(position.code, position.background)
            if support.responsible != Sign.Responsible.AGENCY or not area or len(colours) < 2:
                continue
            area_ft2[position.panel] = area_ft2.get(position.panel, 0.0) + area
            chance = self.site.rng(f"order:{position.panel}").random()
            # Red signs were renewed first, and few of the old ones are left.
            weight = 4.0 if colours[0].color == Color.RED.value else 1.0
            of_color = waiting.setdefault(base_color(colours), {})
            of_color[position.panel] = chance ** (1.0 / weight)
        printed: dict[str, RunPlan] = {}
        for color, panels in waiting.items():
            runs = [run for run in self.runs if run.color == color]
            for panel in sorted(panels, key=lambda key: (-panels[key], key)):
                area = area_ft2[panel]
                open_runs = [run for run in runs if run.area_ft2 + area <= run.capacity_ft2]
                if not open_runs:
                    continue
                run = self.site.rng(f"run:{panel}").choice(open_runs)
                run.area_ft2 += area
                printed[panel] = run
        return printed

    def _plan_printed(
        self, support: SupportPlan, position: PositionPlan, run: RunPlan, rng: Random
    ) -> None:
        installed_on = run.on + timedelta(
            days=min(rng.randint(6, 150), self._days_left(run.on))
        )
        face = FacePlan(
            key=f"{position.key}/1",
            support=support,
            position=position,
            true_type=run.sheeting_type,
            true_optics=Optics.PRISMATIC.value,
            true_since=installed_on,
            fades_times=run.fades_times,
            recorded_type=run.sheeting_type,
            recorded_optics=Optics.PRISMATIC.value,
            fabricated_on=run.on,
            installed_on=installed_on,
            run=run,
        )
        run.faces.append(face)
        position.is_printed = True
        if rng.random() < self.wear["older"]["earlier_face_share"]:
            earlier = self._older_face(support, position, rng, before=installed_on)
            earlier.key = f"{position.key}/0"
            earlier.removed_on = installed_on
            earlier.removal_reason = pick(rng, self.wear["older"]["reasons"])
            self.faces.append(earlier)
        self.faces.append(face)

    def _days_left(self, day: date) -> int:
        return max(1, (self.last_day - day).days - 20)

    def _other_face(
        self, support: SupportPlan, position: PositionPlan, rng: Random
    ) -> FacePlan:
        """Return a face from elsewhere: an older one, or one bought since the shop began."""
        colours = colours_of(position.code, position.background)
        needs_prismatic = any(each.color in PRISMATIC_ONLY for each in colours)
        if not needs_prismatic and rng.random() >= self.wear["older"]["share_bought"]:
            return self._older_face(support, position, rng)
        recorded = pick(rng, self.wear["older"]["bought_type_shares"])
        since = date(2014, 3, 1) + timedelta(
            days=rng.randrange((self.last_day - date(2014, 3, 1)).days - 60)
        )
        face = FacePlan(
            key=f"{position.key}/1",
            support=support,
            position=position,
            true_type="IV" if recorded == "unknown" else recorded,
            true_optics=Optics.PRISMATIC.value,
            true_since=since,
        )
        self._write_down(face, recorded, rng)
        return face

    def _older_face(
        self,
        support: SupportPlan,
        position: PositionPlan,
        rng: Random,
        before: date | None = None,
    ) -> FacePlan:
        older = self.wear["older"]
        colours = colours_of(position.code, position.background)
        is_red = bool(colours) and colours[0].color == Color.RED.value
        needs_prismatic = any(each.color in PRISMATIC_ONLY for each in colours)
        recorded = pick(rng, older["type_shares"])
        if needs_prismatic and recorded != "unknown":
            recorded = "IV"
        unknown_is = "IV" if needs_prismatic else "III"
        first = older["first_year_red"] if is_red else older["first_year"]
        year = rng.randint(first, older["last_year"])
        if before is not None:
            # A predecessor stood for a working life before it was replaced.
            years = rng.uniform(7.0, 15.0) * (0.75 if is_red else 1.0)
            since = before - timedelta(days=round(years * DAYS_PER_YEAR))
        else:
            since = date(year, 1, 1) + timedelta(days=rng.randrange(60, 330))
        face = FacePlan(
            key=f"{position.key}/1",
            support=support,
            position=position,
            true_type=unknown_is if recorded == "unknown" else recorded,
            true_optics=(Optics.PRISMATIC if needs_prismatic else Optics.BEADED).value,
            true_since=since,
        )
        self._write_down(face, recorded, rng)
        return face

    def _write_down(self, face: FacePlan, recorded: str, rng: Random) -> None:
        """Decide what the county's records know of a face from elsewhere."""
        older = self.wear["older"]
        if face.support.responsible != Sign.Responsible.AGENCY:
            return
        if recorded != "unknown":
            face.recorded_type = recorded
            if rng.random() < older["optics_known"]:
                face.recorded_optics = face.true_optics
        precision = pick(rng, older["date_precision"])
        since = face.true_since
        if precision == "unknown":
            return
        face.precision = precision
        if precision == DatePrecision.YEAR:
            since = since.replace(month=1, day=1)
        elif precision == DatePrecision.MONTH:
            since = since.replace(day=1)
        face.installed_on = since


def _plan_runs(size: float) -> list[RunPlan]:
    data = words("press")
    rolls = {roll["roll_number"]: roll for roll in data["rolls"]}
    area_ft2 = data["roll"]["width_in"] / 12.0 * data["roll"]["length_ft"]
    return [
        RunPlan(
            number=each["number"],
            roll_number=each["roll"],
            on=each["on"],
            sheeting_type=rolls[each["roll"]]["sheeting_type"],
            color=rolls[each["roll"]]["color"],
            fades_times=rolls[each["roll"]].get("fades_times", 1.0),
            # A tenth of the length is lost between faces and at the ends.
            capacity_ft2=0.9 * size * each["share"] * area_ft2,
        )
        for each in data["runs"]
    ]

"""Which signs were under which method on a day, and how each method's calendar stood.

A day can be shown as it was known then, or as it is known now: facts have the time they were
taken and the time they were recorded.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, Max, OuterRef, Q

from inventory.engineering.assessment.method_calendar import (
    CoveredSign,
    Method,
    MethodCalendar,
    Terms,
    method_calendar,
)
from inventory.engineering.inspection.usability import reason_not_judged
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.errors import OutOfRangeError
from inventory.models import (
    ColourArea,
    FlagSettlement,
    Inspection,
    InspectionFlag,
    LogbookEntry,
    MethodAssignment,
    MethodGroup,
    MethodStep,
    ReadingSet,
    RelinkedInspection,
    Sign,
    SignMergeUndo,
    VisualRating,
)
from inventory.services.methods import REPLACEMENT_ROUND

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from django.db.models import QuerySet

    from inventory.models import Organisation

THEN, NOW = "then", "now"
KNOWN_WORDS = {THEN: "as known then", NOW: "as known now"}
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class AsKnown:
    """A day, and whether it is shown as known at its end or as known now."""

    organisation: Organisation
    on: date
    known: str
    end: datetime

    @property
    def is_then(self) -> bool:
        """Return whether only what was recorded by the end of the day counts."""
        return self.known == THEN

    @property
    def words(self) -> str:
        """Return how the day is shown, in words."""
        return KNOWN_WORDS[self.known]

    def by_then(self, column: str) -> Q:
        """Return the condition that something was recorded in time to count."""
        return Q(**{f"{column}__lt": self.end}) if self.is_then else Q()

    def facts(self, path: str = "") -> Q:
        """Return the condition on inspections that were made by then and count."""
        made = Q(**{f"{path}taken_at__lt": self.end})
        key = f"{path.removesuffix('__')}_id" if path else "pk"
        corrections = Inspection.objects.filter(self.by_then("recorded_at"))
        corrected = Exists(corrections.filter(corrects=OuterRef(key)))
        return made & self.by_then(f"{path}recorded_at") & ~Q(corrected)

    def relinked(self) -> dict[int, int]:
        """Return the inspections that counted for another sign by a merge, and for which."""
        undone = SignMergeUndo.objects.filter(
            self.by_then("undone_at"), merge=OuterRef("merge")
        )
        rows = RelinkedInspection.objects.owned_by(self.organisation).filter(
            self.by_then("merge__merged_at"), ~Exists(undone)
        )
        return dict(rows.order_by("pk").values_list("inspection_id", "sign_id"))


def as_known(organisation: Organisation, on: date, known: str, *, today: date) -> AsKnown:
    """Return a day as known then or now; one still to come is refused."""
    if known not in KNOWN_WORDS:
        msg = f"'{known}' is no way to show a day; use 'then' or 'now'."
        raise OutOfRangeError(msg)
    if on > today:
        msg = (
            f"{on:%Y-%m-%d} is still to come; a record is made for today ({today:%Y-%m-%d}) or "
            "an earlier day."
        )
        raise OutOfRangeError(msg)
    zone = ZoneInfo(organisation.time_zone)
    end = datetime.combine(on + ONE_DAY, time.min, tzinfo=zone)
    return AsKnown(organisation, on, known, end)


@dataclass(frozen=True, slots=True)
class SignLine:
    """One face that stood somewhere on the day: what a list says of it."""

    sign_id: int
    position_id: int
    sign_code: str
    variant: str
    legend_text: str
    road: str
    responsible: str
    installed_on: date | None
    fabricated_on: date | None
    removed_on: date | None
    removal_reason: str
    installed_precision: str
    fabricated_precision: str

    @property
    def is_ours(self) -> bool:
        """Return whether the agency answers for the sign."""
        return self.responsible == Sign.Responsible.AGENCY

    @property
    def words(self) -> str:
        """Return the sign in a few words."""
        code = f"{self.sign_code}{self.variant}" if self.sign_code else "code not known"
        legend = f" '{self.legend_text}'" if self.legend_text else ""
        return f"{code}{legend}, {self.road or 'road not known'}"


@dataclass(slots=True)
class CoveredGroup:
    """A group on the day: the faces at its places, its calendar, and what was done."""

    group: MethodGroup
    lines: list[SignLine] = field(default_factory=list)
    controls: set[int] = field(default_factory=set)
    since: dict[int, date] = field(default_factory=dict)
    steps: list[MethodStep] = field(default_factory=list)
    calendar: MethodCalendar = field(default_factory=lambda: MethodCalendar(()))
    sheetings: Mapping[int, str] = field(default_factory=dict)

    @property
    def last_round_on(self) -> date | None:
        """Return the day of the last round of replacement on record."""
        rounds = [s.done_on for s in self.steps if s.evidence.get("kind") == REPLACEMENT_ROUND]
        return max(rounds, default=None)


@dataclass(slots=True)
class Coverage:
    """Every sign of the agency on the day, by the method it was under."""

    groups: list[CoveredGroup]
    lines: dict[int, SignLine]
    group_of: dict[int, CoveredGroup]
    looked: Looked

    @property
    def under_none(self) -> list[SignLine]:
        """Return the agency's own signs that were under no method."""
        return [
            line
            for line in self.lines.values()
            if line.is_ours and line.sign_id not in self.group_of
        ]

    @property
    def controls(self) -> set[int]:
        """Return the signs that are measured to stand for others."""
        return {sign_id for each in self.groups for sign_id in each.controls}

    @property
    def others_count(self) -> int:
        """Return how many signs somebody else answers for."""
        return sum(not line.is_ours for line in self.lines.values())


@dataclass(frozen=True, slots=True)
class Looked:
    """When each sign was last measured usably, last rated by night, and last looked at."""

    measured_at: Mapping[int, datetime]
    rated: Mapping[int, tuple[datetime, bool, str]]
    seen_at: Mapping[int, datetime]


def coverage(asked: AsKnown) -> Coverage:
    """Return what was under which method on a day, in a fixed number of queries."""
    lines = _faces_up(asked)
    by_position = {line.position_id: line for line in lines.values()}
    groups = {
        group.pk: CoveredGroup(group)
        for group in MethodGroup.objects.owned_by(asked.organisation).filter(
            asked.by_then("recorded_at"), started_on__lte=asked.on
        )
    }
    group_of: dict[int, CoveredGroup] = {}
    for position_id, group_id, from_on, is_control_sign in _assignments(asked):
        line, under = by_position.get(position_id), groups.get(group_id)
        if line is None or under is None or line.sign_id in group_of:
            continue
        group_of[line.sign_id] = under
        under.lines.append(line)
        under.since[line.sign_id] = from_on
        if is_control_sign:
            under.controls.add(line.sign_id)
    steps = MethodStep.objects.filter(
        asked.by_then("recorded_at"), group__in=groups, done_on__lte=asked.on
    )
    for step in steps.order_by("-done_on", "-pk"):
        groups[step.group_id].steps.append(step)
    looked = _looked(asked)
    shown = [each for each in groups.values() if each.lines or _is_running(each.group, asked)]
    sheetings = _sheetings(shown)
    for each in shown:
        each.sheetings = sheetings
        each.calendar = _calendar(each, asked, looked)
    return Coverage(shown, lines, group_of, looked)


def _is_running(group: MethodGroup, asked: AsKnown) -> bool:
    if group.ended_on is None or group.ended_on > asked.on:
        return True
    ended_at = group.ended_recorded_at
    return asked.is_then and ended_at is not None and ended_at >= asked.end


def _faces_up(asked: AsKnown) -> dict[int, SignLine]:
    """Return the faces that stood on the day, one at each place."""
    late = _recorded_late(asked)
    signs = (
        Sign.objects.owned_by(asked.organisation)
        .filter(position__isnull=False)
        .exclude(state=Sign.State.IN_STOCK)
        .filter(Q(installed_on__isnull=True) | Q(installed_on__lte=asked.on))
        .exclude(pk__in=late["install sign"])
        .filter(
            Q(state=Sign.State.INSTALLED)
            | Q(removed_on__gt=asked.on)
            | Q(pk__in=late["remove sign"])
        )
    )
    rows = signs.order_by("pk").values_list(
        "pk",
        "position_id",
        "sign_code",
        "variant",
        "legend_text",
        "position__support__road__name",
        "responsible",
        "installed_on",
        "fabricated_on",
        "removed_on",
        "removal_reason",
        "installed_precision",
        "fabricated_precision",
    )
    at: dict[int, SignLine] = {}
    for pk, place, code, variant, legend, road, *rest in rows:
        line = SignLine(pk, place, code, variant, legend, road or "", *rest)
        other = at.get(place)
        if other is None or (line.installed_on or asked.on.min) >= (
            other.installed_on or asked.on.min
        ):
            at[place] = line
    return {line.sign_id: line for line in at.values()}


def _recorded_late(asked: AsKnown) -> dict[str, list[int]]:
    """Return the faces whose going up or coming down was recorded only after the day."""
    late: dict[str, list[int]] = {"install sign": [], "remove sign": []}
    if asked.is_then:
        entries = LogbookEntry.objects.filter(
            organisation=asked.organisation,
            verb__in=late,
            at__gte=asked.end,
            sign__isnull=False,
        )
        for verb, sign_id in entries.values_list("verb", "sign_id"):
            late[verb].append(sign_id)
    return late


def _assignments(asked: AsKnown) -> Iterable[tuple[int, int, date, bool]]:
    """Return what was under what on the day, the newest record of a place first."""
    running = Q(until_on__isnull=True) | Q(until_on__gt=asked.on)
    if asked.is_then:
        running |= Q(ended_recorded_at__gte=asked.end)
    return (
        MethodAssignment.objects.owned_by(asked.organisation)
        .filter(asked.by_then("recorded_at"), running, from_on__lte=asked.on)
        .order_by("position", "-from_on", "-pk")
        .values_list("position_id", "group_id", "from_on", "is_control_sign")
    )


def _looked(asked: AsKnown) -> Looked:
    """Return when signs were last measured, rated and seen, as far as it counts."""
    org = asked.organisation
    sets = ReadingSet.objects.filter(
        asked.facts("inspection__"), inspection__organisation=org
    ).exclude(_is_in_doubt(asked))
    relinked = asked.relinked()
    measured: dict[int, datetime] = {}
    grouped = [
        *_last_read(sets, "inspection__sign_id"),
        *(
            (relinked[visit], *rest)
            for visit, *rest in _last_read(
                sets.filter(inspection__in=list(relinked)), "inspection_id"
            )
        ),
    ]
    for sign_id, how, state, observation, entrance, last in grouped:
        if not reason_not_judged(
            how=How(how),
            surface_state=SurfaceState(state),
            observation_angle_deg=observation,
            entrance_angle_deg=entrance,
        ):
            measured[sign_id] = max(last, measured.get(sign_id, last))
    ratings = VisualRating.objects.filter(
        asked.facts("inspection__"), inspection__organisation=org
    ).order_by("inspection__taken_at", "pk")
    rated = {
        relinked.get(visit, sign_id): (taken_at, is_adequate, procedure)
        for visit, sign_id, taken_at, is_adequate, procedure in ratings.values_list(
            "inspection_id",
            "inspection__sign_id",
            "inspection__taken_at",
            "is_adequate",
            "procedure",
        )
    }
    visits = Inspection.objects.filter(asked.facts(), organisation=org).order_by()
    seen = dict(
        visits.values("sign").annotate(last=Max("taken_at")).values_list("sign", "last")
    )
    of_others = visits.filter(pk__in=list(relinked)).values_list("pk", "taken_at")
    for visit, taken_at in of_others:
        kept = relinked[visit]
        seen[kept] = max(taken_at, seen.get(kept, taken_at))
    return Looked(measured, rated, seen)


def _last_read(sets: QuerySet[ReadingSet], of: str) -> Iterable[tuple[Any, ...]]:
    """Return when each sign, or visit, was last read, by how and at which angles."""
    rows = sets.order_by().values_list(
        of,
        "inspection__how",
        "inspection__surface_state",
        "observation_angle_deg",
        "entrance_angle_deg",
    )
    return rows.annotate(last=Max("inspection__taken_at"))


def _is_in_doubt(asked: AsKnown) -> Exists:
    """Return the condition that a flag on the readings was not settled in their favour."""
    settled = FlagSettlement.objects.filter(
        asked.by_then("settled_at"),
        flag=OuterRef("pk"),
        outcome=FlagSettlement.Outcome.JUDGE,
    )
    return Exists(
        InspectionFlag.objects.filter(
            asked.by_then("raised_at"), inspection=OuterRef("inspection_id")
        ).exclude(Exists(settled))
    )


def _sheetings(groups: Iterable[CoveredGroup]) -> dict[int, str]:
    """Return the background's sheeting of each sign in a group that goes by control signs."""
    owners = {
        each.group.organisation_id
        for each in groups
        if each.group.method == MethodGroup.Method.CONTROL_SIGNS
    }
    if not owners:
        return {}
    areas = ColourArea.objects.filter(
        sign__owner__in=owners,
        part=ColourArea.Part.BACKGROUND,
        sign__position__method_assignments__group__method=MethodGroup.Method.CONTROL_SIGNS,
    ).exclude(sign__state=Sign.State.IN_STOCK)
    words: dict[int, str] = defaultdict(str)
    for sign_id, sheeting_type, optics in areas.values_list(
        "sign_id", "sheeting_type", "optics"
    ):
        known = [
            f"Type {sheeting_type}" if sheeting_type else "",
            "" if optics == ColourArea.Optics.UNKNOWN else optics,
        ]
        words[sign_id] = " ".join(filter(None, known))
    return words


def _calendar(covered: CoveredGroup, asked: AsKnown, looked: Looked) -> MethodCalendar:
    group, organisation = covered.group, asked.organisation
    signs = (
        CoveredSign(
            line.sign_id,
            covered.since[line.sign_id],
            sheeting=covered.sheetings.get(line.sign_id, ""),
            is_control=line.sign_id in covered.controls,
            installed_on=line.installed_on,
            fabricated_on=line.fabricated_on,
            installed_precision=line.installed_precision,
            fabricated_precision=line.fabricated_precision,
            measured_on=_day(organisation, looked.measured_at.get(line.sign_id)),
            rated_on=_day(organisation, looked.rated.get(line.sign_id, (None,))[0]),
        )
        for line in covered.lines
    )
    terms = Terms(
        Method(group.method),
        group.started_on,
        interval_months=group.interval_months,
        expected_life_years=group.expected_life_years,
        last_round_on=covered.last_round_on,
    )
    return method_calendar(terms, signs, today=asked.on)


def _day(organisation: Organisation, moment: datetime | None) -> date | None:
    return None if moment is None else organisation.day_of(moment)

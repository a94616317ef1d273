"""Lots of sheeting, ink and overlay and print runs compared, and what was found kept."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from scipy.special import ndtri

from inventory.engineering.assessment.face import Colouring
from inventory.engineering.forecast.aliases import (
    STANDS_ALONE,
    LotGroup,
    Member,
    list_suspects,
    told_apart_by,
)
from inventory.engineering.forecast.lot_parts import weakest_p_without_a_sign
from inventory.engineering.forecast.lot_signs import LotSigns
from inventory.engineering.forecast.lot_sums import Factor, LotCohort
from inventory.engineering.forecast.lots import (
    FALSE_SHARE,
    METHOD_VERSION,
    FactorTest,
    compare_lots,
)
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.models import ColourArea, LotFinding, Sign
from inventory.services.forecast.lot_warranty import WarrantyPosition, position_of_signs
from inventory.services.forecast.press_lots import press_lots

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date, datetime

    from inventory.engineering.forecast.fit import CohortFit as Fit
    from inventory.models import Organisation, ScopedQuerySet
    from inventory.services.forecast.gathering import GatheredCohort
    from inventory.services.forecast.press_lots import PressLots

    Progress = Callable[[str], None]

ROWS_PER_STEP = 500
ORDINARY_90 = float(ndtri(0.95))
LEVEL_95 = float(ndtri(0.975))
LONGEST_NAME = 80
PERCENT = 100.0
_PRINTED = (Colouring.PRINTED_SPOT.value, Colouring.PRINTED_MIXED.value)
_STORED = (
    "maker",
    "kind",
    "name",
    "members",
    "found_at",
    "method_version",
    "sign_count",
    "visit_count",
    "effect_per_year",
    "effect_low_per_year",
    "effect_high_per_year",
    "cohort_change_per_year",
    "p_value",
    "q_value",
    "is_suspect",
    "told_apart_by",
    "detail",
)


class _Named(NamedTuple):
    """A lot as its maker names it."""

    kind: str
    maker_id: int
    name: str


def find_suspect_lots(
    *,
    organisation: Organisation,
    cohorts: Sequence[tuple[GatheredCohort, Fit]],
    now: datetime,
    progress: Progress | None = None,
) -> int:
    """
    Compare lots with enough readings, keep what was found, and return how many are suspect.

    ``cohorts`` are all cohorts of one gathering with their fits. What was found of lots that
    are not tested any more is taken away; what is still found keeps its row.
    """
    read = [
        (
            gathered,
            LotCohort.of(
                fit,
                gathered.observations,
                sign_id=gathered.sign_id,
                is_installed=gathered.is_installed,
            ),
        )
        for gathered, fit in cohorts
        if len(gathered.observations)
    ]
    lots = [cohort for _gathered, cohort in read]
    signs = LotSigns.gather(lots)
    tests = {
        factor: test
        for factor in Factor
        if (test := compare_lots(lots, factor, signs, progress=progress)) is not None
    }
    groups = list_suspects(lots, tests, signs)
    writer = _Writer(organisation, now, [each for each, _cohort in read], lots, tests, signs)
    findings = writer.findings(groups)
    _store(organisation, findings)
    return sum(finding.is_suspect for finding in findings)


def signs_of_finding(finding: LotFinding) -> ScopedQuerySet:
    """
    Return every sign that was made of a finding's lots, standing or not, by the press log.

    Of an ink lot, the signs that show its colour in print. As of when it was found.
    """
    condition = Q(pk__in=[])
    for made in finding.detail.get("made_in", ()):
        of_runs = Q(print_run__in=made["run_ids"])
        if made["color"]:
            printed = ColourArea.objects.filter(
                sign=OuterRef("pk"), color=made["color"], colouring__in=_PRINTED
            )
            of_runs &= Q(Exists(printed))
        condition |= of_runs
    signs: ScopedQuerySet = Sign.objects.owned_by(finding.organisation).filter(condition)
    return signs


def position_under_warranty(
    finding: LotFinding, *, today: date | None = None
) -> WarrantyPosition:
    """Return what a claim for a finding's signs would rest on, by the day it was found."""
    organisation = finding.organisation
    return position_of_signs(
        organisation=organisation,
        signs=signs_of_finding(finding),
        today=today or organisation.day_of(finding.found_at),
    )


@transaction.atomic
def _store(organisation: Organisation, findings: Sequence[LotFinding]) -> None:
    keys = {finding.key for finding in findings}
    rows = LotFinding.objects.owned_by(organisation)
    gone = [pk for pk, key in rows.values_list("pk", "key") if key not in keys]
    for start in range(0, len(gone), ROWS_PER_STEP):
        rows.filter(pk__in=gone[start : start + ROWS_PER_STEP]).delete()
    LotFinding.objects.bulk_create(
        findings,
        batch_size=ROWS_PER_STEP,
        update_conflicts=True,
        unique_fields=("organisation", "key"),
        update_fields=_STORED,
    )


class _Writer:
    """Puts what was found into records, with the words that pages show."""

    def __init__(
        self,
        organisation: Organisation,
        now: datetime,
        gathered: Sequence[GatheredCohort],
        lots: Sequence[LotCohort],
        tests: Mapping[Factor, FactorTest],
        signs: LotSigns,
    ) -> None:
        self.organisation = organisation
        self.now = now
        self.lots = lots
        self.tests = tests
        self.signs = signs
        self.keys_of = _keys_by_lot(gathered, lots)
        self.names = _names(gathered[0]) if gathered else {}
        self.press = press_lots(organisation)
        self.key_of: dict[Member, str] = {}

    def findings(self, groups: Sequence[LotGroup]) -> list[LotFinding]:
        """Return a record per group, suspects judged once more without any one sign."""
        self.key_of = {
            member: _key([self._named(each) for each in group.members])
            for group in groups
            for member in group.members
        }
        listed = [group for group in groups if group.is_listed]
        threshold = FALSE_SHARE * max(len(listed), 1) / max(len(groups), 1)
        return [self._finding(group, len(groups), threshold) for group in groups]

    def _finding(self, group: LotGroup, number: int, threshold: float) -> LotFinding:
        factor, place = group.tested
        test = self.tests[factor]
        member = Member(factor, int(test.level[place]))
        named = [self._named(each) for each in group.members]
        low, high = (float(each[place]) for each in test.interval())
        hangs = (
            group.is_listed
            and weakest_p_without_a_sign(self.lots, test, place, self.signs.read(*member))
            > STANDS_ALONE
        )
        makers = {each.maker_id for each in named}
        return LotFinding(
            organisation=self.organisation,
            maker_id=makers.pop() if len(makers) == 1 else None,
            key=_key(named),
            kind=named[0].kind,
            name=named[0].name[:LONGEST_NAME],
            members=[
                {"kind": each.kind, "name": each.name, "maker_id": each.maker_id}
                for each in named
            ],
            found_at=self.now,
            method_version=METHOD_VERSION,
            sign_count=len(self.signs.read(*member)),
            visit_count=self.signs.visit_count(*member),
            effect_per_year=float(test.effect_per_year[place]),
            effect_low_per_year=low,
            effect_high_per_year=high,
            cohort_change_per_year=float(test.cohort_change_per_year[place]),
            p_value=group.p_value,
            q_value=group.q_value,
            is_suspect=group.is_listed and not hangs,
            told_apart_by=told_apart_by(group.members, self.signs, self._words),
            detail=self._detail(group, member, number, threshold)
            | {"hangs_on_one_sign": hangs},
        )

    def _detail(
        self, group: LotGroup, member: Member, number: int, threshold: float
    ) -> dict[str, Any]:
        factor, place = group.tested
        test = self.tests[factor]
        ordinary = float(test.ordinary_sd_at_most[place])
        explained = group.explained_by
        return {
            "ordinary_sd_per_year": float(test.ordinary_sd[place]),
            "ordinary_low_per_year": -ORDINARY_90 * ordinary,
            "ordinary_high_per_year": ORDINARY_90 * ordinary,
            "smallest_excess_per_year": test.smallest_excess(place, threshold),
            "level_words": _level_words(
                float(test.level_deviation[place]), float(test.level_standard_error[place])
            ),
            "to_be_surer": self._to_be_surer(group, member),
            "cohorts": sorted(
                {key for each in group.members for key in self.keys_of.get(each, ())}
            ),
            "explained_by": ""
            if explained is None
            else f"It stands out only by signs that are also of {self._words(explained)}: "
            f"without them it loses as ordinary lots do, or too little is known.",
            "explained_by_key": "" if explained is None else self.key_of[explained],
            "tested_with": number,
            "compared_with": len(test.level) - 1,
            "too_few_readings": test.too_few_readings,
            "standing": len(self.signs.standing(*member)),
            "made_in": self._made_in(group.members),
        }

    def _to_be_surer(self, group: LotGroup, member: Member) -> str:
        standing = self.signs.standing(*member)
        twice = set(self.signs.read_twice(*member).tolist())
        once = sum(sign not in twice for sign in standing.tolist())
        if not len(standing):
            return "None of its signs stands any more; no further reading is possible."
        if once:
            were = "sign was" if once == 1 else "signs were"
            return (
                f"{once} of the {len(standing)} standing {were} not read twice yet; readings "
                "of one sign two years or more apart tell most."
            )
        return (
            f"All {len(standing)} standing signs were read twice or more; another round in a "
            "year or more tells most."
        )

    def _made_in(self, members: Sequence[Member]) -> list[dict[str, Any]]:
        """Return the print runs of the members' faces, by colour where an ink makes it."""
        runs: dict[str, set[int]] = {}
        for member in members:
            for color, run_ids in _runs_of(self.press, self._named(member)).items():
                runs.setdefault(color, set()).update(run_ids)
        return [
            {"color": color, "run_ids": sorted(run_ids)}
            for color, run_ids in sorted(runs.items())
        ]

    def _named(self, member: Member) -> _Named:
        names, makers = self.names[member.factor]
        return _Named(member.factor.value, makers[member.level], names[member.level])

    def _words(self, member: Member) -> str:
        return f"{member.factor.words} {self._named(member).name}"


def _names(gathered: GatheredCohort) -> dict[Factor, tuple[tuple[str, ...], tuple[int, ...]]]:
    """Return names and makers by number; the same in every cohort of one gathering."""
    return {
        Factor.SHEETING: (gathered.lot_names, gathered.lot_makers),
        Factor.INK: (gathered.ink_lot_names, gathered.ink_lot_makers),
        Factor.OVERLAY: (gathered.overlay_lot_names, gathered.overlay_lot_makers),
        Factor.RUN: (gathered.run_names, gathered.run_makers),
    }


def _keys_by_lot(
    gathered: Sequence[GatheredCohort], lots: Sequence[LotCohort]
) -> dict[Member, list[str]]:
    """Return the cohorts in which signs of each lot were read."""
    found: dict[Member, list[str]] = {}
    for each, cohort in zip(gathered, lots, strict=True):
        is_read = cohort.visits_per_sign() > 0
        for factor, levels in cohort.levels.items():
            for level in set(levels[is_read].tolist()) - {UNKNOWN}:
                found.setdefault(Member(factor, level), []).append(each.key.text)
    return found


def _runs_of(press: PressLots, named: _Named) -> dict[str, list[int]]:
    """Return the print runs that used a lot; of an ink lot by colour, else under ''."""
    wanted = (named.maker_id, named.name)
    numbering = {
        Factor.SHEETING.value: press.sheeting,
        Factor.INK.value: press.ink,
        Factor.OVERLAY.value: press.overlay,
        Factor.RUN.value: press.runs,
    }[named.kind]
    number = {tuple(lot): k for lot, k in numbering.number_of.items()}.get(wanted, UNKNOWN)
    found: dict[str, list[int]] = {}
    for run_id, used in press.of_run.items():
        if named.kind == Factor.INK.value:
            for color, lot in used.ink.items():
                if lot == number:
                    found.setdefault(color, []).append(run_id)
            continue
        of_run = {
            Factor.SHEETING.value: used.sheeting,
            Factor.OVERLAY.value: used.overlay_lot,
            Factor.RUN.value: used.run,
        }[named.kind]
        if of_run == number:
            found.setdefault("", []).append(run_id)
    return found


def _key(named: Sequence[_Named]) -> str:
    """Return a key of the members that is the same from one finding to the next."""
    text = "\n".join(sorted(f"{each.kind}\t{each.maker_id}\t{each.name}" for each in named))
    return hashlib.sha256(text.encode()).hexdigest()


def _level_words(deviation: float, error: float) -> str:
    """Return how bright a lot was when new; it plays no part in the test."""
    if not error < 0.5:  # also where it is not known
        return ""
    low, high = deviation - LEVEL_95 * error, deviation + LEVEL_95 * error
    share = abs(deviation) * PERCENT
    how = "brighter" if deviation > 0 else "dimmer"
    told = (
        f"{share:.0f} % {how} than such faces"
        if low > 0 or high < 0
        else "as bright as such faces, as far as its readings tell"
    )
    return (
        f"{told} (between {low * PERCENT:+.0f} and {high * PERCENT:+.0f} %); a lot that starts "
        "dim is not suspect for that"
    ).replace("-", "−")

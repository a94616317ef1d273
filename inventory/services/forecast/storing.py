"""The forecasts of a step of signs, made where anything changed, and stored."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import transaction

from inventory.engineering.forecast.fit import METHOD_VERSION
from inventory.engineering.forecast.sign_due import sign_due
from inventory.engineering.standards.safety import remaining_class, safety_class
from inventory.models import ElementAssessment, Sign, SignForecast, Standing
from inventory.services.forecast.due_soon import is_soon
from inventory.services.forecast.fingerprints import text_fingerprint
from inventory.services.forecast.sign_colours import colours_of_step, tell_colours
from inventory.services.judging import sign_type_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date, datetime

    from inventory.engineering.forecast.sign_due import SignDue
    from inventory.engineering.standards.local import CodeBook
    from inventory.models import Organisation
    from inventory.services.forecast.fitting import FittedCohort
    from inventory.services.forecast.sign_colours import (
        ColoursOfStep,
        ForecastRules,
        ToldColour,
    )

SIGNS_PER_STEP = 2_000
_UPDATED = [
    each.name for each in SignForecast._meta.concrete_fields if each.name not in ("id", "sign")
]


@dataclass(slots=True)
class StoredSigns:
    """
    What came of the signs so far; ``classes`` has the safety class of each.

    ``governing`` has the fit of the colour that governs each sign, of those whose end is to
    fall below a level.
    """

    signs: int = 0
    remade: int = 0
    bases: Counter[str] = field(default_factory=Counter)
    classes: dict[int, int] = field(default_factory=dict)
    governing: dict[int, int | None] = field(default_factory=dict)


class _SignHead(NamedTuple):
    sign_id: int
    position_id: int | None
    sign_code: str


class _Stands(NamedTuple):
    """How a sign stands, as far as its forecast asks."""

    assessment_id: int | None
    safety_class: int
    responsible: str
    forecast_due_on: date | None
    is_due_soon: bool


@dataclass(frozen=True, slots=True)
class SignStorer:
    """Stores forecasts of an agency's signs; one for a whole round."""

    organisation: Organisation
    rules: ForecastRules
    book: CodeBook
    due_soon_months: int
    rules_fingerprint: str
    now: datetime

    def store_step(
        self, cohorts: Sequence[FittedCohort], after_id: int, found: StoredSigns
    ) -> int | None:
        """
        Forecast the next installed signs and return the last one's key; none when all are done.

        A sign of which nothing changed keeps its forecast. One transaction.
        """
        with transaction.atomic():
            heads = [
                _SignHead(*row)
                for row in Sign.objects.owned_by(self.organisation)
                .filter(state=Sign.State.INSTALLED, pk__gt=after_id)
                .select_for_update(of=("self",))
                .order_by("pk")
                .values_list("pk", "position_id", "sign_code")[:SIGNS_PER_STEP]
            ]
            if not heads:
                return None
            self._store(cohorts, heads, found)
        return heads[-1].sign_id

    def _store(
        self, cohorts: Sequence[FittedCohort], heads: Sequence[_SignHead], found: StoredSigns
    ) -> None:
        ids = [head.sign_id for head in heads]
        step = colours_of_step(cohorts, ids[0], ids[-1])
        stands = _stands(ids)
        classes = {
            head.sign_id: stands[head.sign_id].safety_class
            if head.sign_id in stands
            else self._class_of(head.sign_code)
            for head in heads
        }
        prints = {
            head.sign_id: self._fingerprint(head, classes[head.sign_id], step) for head in heads
        }
        known = {
            sign_id: (fingerprint, basis, fit_id if end == SignForecast.End.LEVEL else None)
            for sign_id, fingerprint, basis, end, fit_id in SignForecast.objects.filter(
                sign__in=ids, organisation=self.organisation
            )
            .order_by("sign")
            .values_list("sign_id", "fingerprint", "basis", "end", "fit_id")
        }
        wanted = {
            sign_id
            for sign_id in ids
            if sign_id not in known or known[sign_id][0] != prints[sign_id]
        }
        told = tell_colours(
            step,
            wanted,
            self.rules,
            position_of={head.sign_id: head.position_id for head in heads},
            unverified=_unverified(stands, wanted),
        )
        rows = [
            self._row(sign_id, told[sign_id], prints[sign_id], classes[sign_id])
            for sign_id in sorted(wanted)
        ]
        SignForecast.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["sign"], update_fields=_UPDATED
        )
        self._tell_standings(rows, stands)
        found.signs += len(ids)
        found.remade += len(rows)
        found.bases.update(known[sign_id][1] for sign_id in ids if sign_id not in wanted)
        found.bases.update(str(row.basis) for row in rows)
        found.classes |= classes
        found.governing |= {key: known[key][2] for key in ids if key not in wanted}
        found.governing |= {
            row.sign_id: row.fit_id if row.end == SignForecast.End.LEVEL else None
            for row in rows
        }

    def _class_of(self, sign_code: str) -> int:
        sign_type = sign_type_of(sign_code, self.book)
        return (safety_class(sign_type) if sign_type is not None else remaining_class()).number

    def _fingerprint(self, head: _SignHead, safety_class: int, step: ColoursOfStep) -> str:
        """Return a word of what a sign's forecast rests on; it changes with each month."""
        group = self.rules.lives.group_of.get(head.position_id or 0)
        return text_fingerprint(
            [
                self.rules_fingerprint,
                safety_class,
                None if group is None else (group.pk, group.expected_life_years),
                *(each.facts(self.rules) for each in step.of_sign.get(head.sign_id, ())),
            ]
        )

    def _row(
        self, sign_id: int, told: Sequence[ToldColour], fingerprint: str, safety_class: int
    ) -> SignForecast:
        today = self.rules.today
        found = sign_due([each.due for each in told], today=today)
        governing = _stored_of(told, found)
        return SignForecast(
            organisation=self.organisation,
            sign_id=sign_id,
            made_at=self.now,
            as_of_on=today,
            method_version=METHOD_VERSION,
            fingerprint=fingerprint,
            basis=found.basis.value,
            end="" if found.end is None else found.end.value,
            color=found.color,
            fit_id=governing.get("fit_id"),
            level_cd_lx_m2=governing.get("level_cd_lx_m2"),
            ra_cd_lx_m2=governing.get("ra_cd_lx_m2"),
            ra_low_cd_lx_m2=governing.get("ra_low_cd_lx_m2"),
            ra_high_cd_lx_m2=governing.get("ra_high_cd_lx_m2"),
            probability_below=found.probability_below,
            probabilities_below=list(found.probabilities_below),
            due_on=found.due_on,
            due_early_on=found.due_early_on,
            due_late_on=found.due_late_on,
            is_extrapolated=found.is_extrapolated,
            sentence=found.sentence,
            colors=[each.stored for each in told],
            safety_class=safety_class,
        )

    def _tell_standings(
        self, rows: Sequence[SignForecast], stands: Mapping[int, _Stands]
    ) -> None:
        """Bring what lists and maps read in line with the forecasts."""
        due_on = {row.sign_id: row.due_on for row in rows}
        soon = {
            sign_id: stands[sign_id].responsible == Sign.Responsible.AGENCY
            and is_soon(day, self.rules.today, self.due_soon_months)
            for sign_id, day in due_on.items()
            if sign_id in stands
        }
        changed = [
            sign_id
            for sign_id, is_due_soon in soon.items()
            if (stands[sign_id].forecast_due_on, stands[sign_id].is_due_soon)
            != (due_on[sign_id], is_due_soon)
        ]
        standings = list(Standing.objects.filter(sign__in=changed).order_by("sign"))
        for standing in standings:
            standing.forecast_due_on = due_on[standing.sign_id]
            standing.is_due_soon = soon[standing.sign_id]
        Standing.objects.bulk_update(
            standings, ["forecast_due_on", "is_due_soon"], batch_size=500
        )


@transaction.atomic
def drop_forecasts_of_gone(organisation: Organisation) -> int:
    """Drop the forecasts of signs that are not installed any more; return how many."""
    stale = SignForecast.objects.owned_by(organisation).exclude(
        sign__state=Sign.State.INSTALLED, sign__owner=organisation
    )
    return int(stale.delete()[0])


def _stored_of(told: Sequence[ToldColour], found: SignDue) -> dict[str, Any]:
    return next((each.stored for each in told if each.due.color == found.color), {})


def _stands(sign_ids: Sequence[int]) -> dict[int, _Stands]:
    rows = Standing.objects.filter(sign__in=sign_ids).order_by("sign")
    return {
        sign_id: _Stands(*rest)
        for sign_id, *rest in rows.values_list(
            "sign_id",
            "assessment_id",
            "safety_class",
            "responsible",
            "forecast_due_on",
            "is_due_soon",
        )
    }


def _unverified(stands: Mapping[int, _Stands], wanted: set[int]) -> set[tuple[int, str]]:
    """Return the colours of signs whose level was not read in its source."""
    sign_of = {
        stands[sign_id].assessment_id: sign_id
        for sign_id in wanted
        if sign_id in stands and stands[sign_id].assessment_id is not None
    }
    if not sign_of:
        return set()
    rows = ElementAssessment.objects.filter(
        assessment__in=list(sign_of), kind=ElementAssessment.Kind.COLOR
    ).only("assessment_id", "color", "table_id", "checked")
    return {
        (sign_of[row.assessment_id], row.color)
        for row in rows.order_by("assessment", "number")
        if not row.is_level_verified
    }

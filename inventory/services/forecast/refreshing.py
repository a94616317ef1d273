"""A round of forecasting: gather, fit what changed, forecast the signs, compare lots."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.models import AgencyPolicy, ForecastRun, LotFinding, Sign
from inventory.services.forecast.counting import count_due
from inventory.services.forecast.due_soon import DUE_PROBABILITY, DUE_SOON_MONTHS
from inventory.services.forecast.expected_lives import expected_lives
from inventory.services.forecast.fade_looks import fade_looks
from inventory.services.forecast.fades import fade_lives, fades_to_json
from inventory.services.forecast.fingerprints import text_fingerprint
from inventory.services.forecast.fitting import (
    bring_up_to_date,
    newest_fits,
    session_sd_of,
    succeed,
)
from inventory.services.forecast.gathering import gather_cohorts
from inventory.services.forecast.losses import losses_of
from inventory.services.forecast.lots import find_suspect_lots
from inventory.services.forecast.runs import begin_run
from inventory.services.forecast.sign_colours import ForecastRules
from inventory.services.forecast.storing import (
    SignStorer,
    StoredSigns,
    drop_forecasts_of_gone,
)
from inventory.services.logbook import log
from inventory.services.standards import code_book
from inventory.services.standing import policy_or_none

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from inventory.engineering.forecast.fade import FadeLife
    from inventory.models import Organisation, User
    from inventory.services.forecast.expected_lives import LifeBook
    from inventory.services.forecast.fade_looks import FadeLooks
    from inventory.services.forecast.fitting import FittedCohort
    from inventory.services.forecast.runs import RunUnderWay

    # What is being done, how far it is, and of how much.
    Progress = Callable[[str, int, int], None]


@dataclass(slots=True)
class RefreshSummary:
    """What a round came to; ``unchanged`` cohorts and signs kept what they had."""

    cohorts: int = 0
    fitted: int = 0
    unchanged: int = 0
    without_fit: int = 0
    signs: int = 0
    remade: int = 0
    dropped: int = 0
    suspect_lots: int = 0
    bases: Counter[str] = field(default_factory=Counter)

    @property
    def counts(self) -> dict[str, Any]:
        """Return it as it is kept with the round."""
        return {
            "cohorts": self.cohorts,
            "fitted": self.fitted,
            "without_fit": self.without_fit,
            "signs": self.signs,
            "remade": self.remade,
            "dropped": self.dropped,
            "suspect_lots": self.suspect_lots,
            "bases": dict(sorted(self.bases.items())),
        }


def refresh_forecasts(
    *,
    organisation: Organisation,
    now: datetime | None = None,
    by: User | None = None,
    progress: Progress | None = None,
    is_forced: bool = False,
) -> RefreshSummary:
    """
    Bring the forecasts of an agency's signs up to date.

    Only cohorts whose readings changed are fitted again, and only signs of which a fact, a
    level or a rule changed are forecast again, or all of them once a month has begun. Each
    cohort and each step of signs is a transaction of its own: a round that was broken off is
    simply run again. With ``is_forced`` every cohort is fitted again.
    """
    now = now or timezone.now()
    under_way = begin_run(organisation=organisation, by=by, now=now)
    summary = RefreshSummary()
    kept: dict[str, Any] = {}
    is_whole = False
    try:
        kept = _Round(organisation, now, under_way, progress, summary).make(is_forced)
        is_whole = True
    finally:
        under_way.finish(summary.counts | kept, is_whole=is_whole)
    with transaction.atomic():
        log(
            organisation=organisation,
            actor=by,
            verb="forecast signs",
            text=(
                f"Forecast: {summary.fitted} of {summary.cohorts} cohorts fitted, "
                f"{summary.remade} of {summary.signs} signs forecast again; "
                f"{summary.suspect_lots} suspect lots."
            ),
            at=now,
        )
    return summary


class _Round:
    """One round under way."""

    def __init__(
        self,
        organisation: Organisation,
        now: datetime,
        under_way: RunUnderWay,
        progress: Progress | None,
        summary: RefreshSummary,
    ) -> None:
        self.organisation = organisation
        self.now = now
        self.today = organisation.day_of(now)
        self.under_way = under_way
        self.progress = progress
        self.summary = summary
        self.stage = ForecastRun.Stage.GATHERING
        self.done = self.total = 0

    def make(self, is_forced: bool) -> dict[str, Any]:
        """Go through the stages; return what the round keeps beside its counts."""
        self._at(ForecastRun.Stage.GATHERING)
        before = newest_fits(self.organisation)
        gathered = list(
            gather_cohorts(
                organisation=self.organisation, today=self.today, progress=self._tell
            )
        )
        self._at(ForecastRun.Stage.FITTING, len(gathered))
        session_sd = session_sd_of(policy_or_none(self.organisation, self.now))
        cohorts: list[FittedCohort] = []
        for each in gathered:
            cohorts.append(
                bring_up_to_date(
                    each,
                    before.pop(each.key.text, None),
                    organisation=self.organisation,
                    session_sd=session_sd,
                    now=self.now,
                    is_forced=is_forced,
                    progress=lambda _words: self._tell(self.done, self.total),
                )
            )
            self._tell(len(cohorts), len(gathered))
        for row in before.values():  # of cohorts that no sign belongs to any more
            with transaction.atomic():
                succeed(row, self.now)
        self._count_cohorts(cohorts)
        looks = fade_looks(self.organisation)
        fades = fade_lives(organisation=self.organisation, now=self.now, looks=looks)
        self._forecast_signs(cohorts, fades, looks)
        if before or any(each.is_new for each in cohorts):
            self._compare_lots(cohorts)
        else:
            known = LotFinding.objects.owned_by(self.organisation)
            self.summary.suspect_lots = known.filter(is_suspect=True).count()
        return {
            "losses": losses_of(organisation=self.organisation, now=self.now).to_json(),
            "fades": fades_to_json(fades),
        }

    def _count_cohorts(self, cohorts: list[FittedCohort]) -> None:
        summary = self.summary
        summary.cohorts = len(cohorts)
        summary.fitted = sum(each.is_new for each in cohorts)
        summary.without_fit = sum(each.row is None for each in cohorts)
        summary.unchanged = summary.cohorts - summary.fitted - summary.without_fit

    def _forecast_signs(
        self,
        cohorts: list[FittedCohort],
        fades: Mapping[tuple[str, str], FadeLife],
        looks: FadeLooks,
    ) -> None:
        installed = Sign.objects.owned_by(self.organisation).filter(state=Sign.State.INSTALLED)
        self._at(ForecastRun.Stage.SIGNS, installed.count())
        policy = policy_or_none(self.organisation, self.now)
        lives = expected_lives(self.organisation, self.today)
        rules = ForecastRules(
            self.today,
            policy.due_probability if policy is not None else DUE_PROBABILITY,
            lives,
            fades,
            looks,
        )
        months = policy.due_soon_months if policy is not None else DUE_SOON_MONTHS
        storer = SignStorer(
            self.organisation,
            rules,
            code_book(self.organisation),
            months,
            self._rules_fingerprint(policy, lives, fades),
            self.now,
        )
        found = StoredSigns()
        last = storer.store_step(cohorts, 0, found)
        while last is not None:
            self._tell(found.signs, self.total)
            last = storer.store_step(cohorts, last, found)
        self.summary.dropped = drop_forecasts_of_gone(self.organisation)
        self.summary.signs, self.summary.remade = found.signs, found.remade
        self.summary.bases = found.bases
        for cohort in cohorts:
            is_counted = cohort.row is None or "due_counts" in cohort.row.life
            if found.remade or self.summary.dropped or not is_counted:
                count_due(cohort, found, rules)
                self._tell(found.signs, self.total)

    def _rules_fingerprint(
        self,
        policy: AgencyPolicy | None,
        lives: LifeBook,
        fades: Mapping[tuple[str, str], FadeLife],
    ) -> str:
        """Return a word of what every forecast of the round rests on, the month among it."""
        return text_fingerprint(
            [
                f"{self.today:%Y-%m}",
                policy.due_probability if policy is not None else DUE_PROBABILITY,
                policy.due_soon_months if policy is not None else DUE_SOON_MONTHS,
                sorted((key, row.pk) for key, row in lives.rows.items()),
                sorted(
                    (key, str(life), life.ages_years, life.share_left)
                    for key, life in fades.items()
                ),
            ]
        )

    def _compare_lots(self, cohorts: list[FittedCohort]) -> None:
        fitted = [each for each in cohorts if each.row is not None]
        self._at(ForecastRun.Stage.LOTS, len(fitted))
        self.summary.suspect_lots = find_suspect_lots(
            organisation=self.organisation,
            cohorts=[(each.gathered, each.fit) for each in fitted],
            now=self.now,
        )

    def _at(self, stage: ForecastRun.Stage, total: int = 0) -> None:
        self.stage = stage
        self._tell(0, total)

    def _tell(self, done: int, total: int) -> None:
        self.done, self.total = done, total
        self.under_way.tell(self.stage, done, total)
        if self.progress is not None:
            self.progress(self.stage.label, done, total)

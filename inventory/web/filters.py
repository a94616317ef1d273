"""The filters that map and list share."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import django_filters as filters
from django import forms
from django.db.models import Q
from django.utils import timezone

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.forecast.cohorts import CohortKey
from inventory.models import CohortFit, LotFinding, Road, Sign, SignForecast, Standing
from inventory.services.forecast.lots import signs_of_finding

if TYPE_CHECKING:
    from django.http import QueryDict

    from inventory.models import Organisation, ScopedQuerySet

SAFETY_CLASSES = (
    (1, "1: Stop, Yield, Do Not Enter, Wrong Way"),
    (2, "2: other regulatory, critical warning"),
    (3, "3: other warning"),
    (4, "4: guide and the rest"),
)
DUE_CHOICES = (("", "due or not"), ("true", "due"), ("false", "not due"))
DUE_SOON_CHOICES = (("", "soon or not"), ("true", "due soon"), ("false", "not soon"))
NOT_KNOWN = "not known"
YEARS_AHEAD = 30
BY_NOW = "now"
LATER = "later"


class StandingFilter(filters.FilterSet):  # type: ignore[misc]  # the package has no types
    """Narrow the signs of one organisation."""

    code = filters.CharFilter(
        field_name="sign_code", lookup_expr="istartswith", label="Code begins with"
    )
    verdict = filters.MultipleChoiceFilter(
        label="Verdict",
        choices=[(v.value, v.value) for v in Verdict],
        distinct=False,  # one column, no join: nothing comes twice
        widget=forms.CheckboxSelectMultiple,
    )
    due = filters.BooleanFilter(
        field_name="is_due",
        label="Due",
        widget=forms.Select(choices=DUE_CHOICES),
    )
    safety_class = filters.ChoiceFilter(
        label="Safety class", choices=SAFETY_CLASSES, empty_label="any"
    )
    sheeting = filters.ChoiceFilter(
        label="Sheeting", empty_label="any", method="filter_sheeting"
    )
    condition = filters.ChoiceFilter(
        label="Condition by eye", choices=Standing.Condition.choices, empty_label="any"
    )
    responsible = filters.ChoiceFilter(
        label="Whose sign", choices=Sign.Responsible.choices, empty_label="anybody's"
    )
    road = filters.ModelChoiceFilter(
        label="Road", queryset=Road.objects.none(), empty_label="any"
    )

    due_soon = filters.BooleanFilter(
        field_name="is_due_soon",
        label="Due soon",
        widget=forms.Select(choices=DUE_SOON_CHOICES),
    )
    due_year = filters.ChoiceFilter(
        label="Due date", empty_label="any", method="filter_due_year"
    )
    basis = filters.ChoiceFilter(
        field_name="sign__forecast__basis",
        label="Forecast from",
        choices=SignForecast.Basis.choices,
        empty_label="anything",
    )
    cohort = filters.ChoiceFilter(label="Cohort", empty_label="any", method="filter_cohort")
    lot = filters.ModelChoiceFilter(
        label="Lot", queryset=LotFinding.objects.none(), empty_label="any", method="filter_lot"
    )

    class Meta:
        model = Standing
        fields = ()

    def __init__(
        self, data: QueryDict | None, queryset: ScopedQuerySet, *, organisation: Organisation
    ) -> None:
        super().__init__(data=data, queryset=queryset)
        self.today = timezone.localdate()
        self.filters["road"].queryset = Road.objects.owned_by(organisation)
        self.filters["sheeting"].extra["choices"] = sheeting_choices(organisation)
        self.filters["due_year"].extra["choices"] = due_year_choices(self.today)
        self.fits = CohortFit.objects.owned_by(organisation).filter(succeeded_at__isnull=True)
        self.filters["cohort"].extra["choices"] = cohort_choices(self.fits)
        self.filters["lot"].queryset = lots_to_pick(
            organisation, data.get("lot") if data else None
        )

    @property
    def chosen_words(self) -> str:
        """Return what the filters say now, in words, so that a closed box hides nothing."""
        form = self.form
        if not form.is_valid():
            return ""
        return "; ".join(
            f"{form[name].label} {_chosen_word(form.fields[name], value)}"
            for name, value in form.cleaned_data.items()
            if value not in (None, "", [])
        )

    def filter_sheeting(self, rows: ScopedQuerySet, _name: str, value: str) -> ScopedQuerySet:
        return rows.filter(sheeting="" if value == NOT_KNOWN else value)

    def filter_due_year(self, rows: ScopedQuerySet, _name: str, value: str) -> ScopedQuerySet:
        """Keep the signs whose due date lies in a year; the first one begins tomorrow."""
        if value == BY_NOW:
            return rows.filter(forecast_due_on__lte=self.today)
        if value == LATER:
            return rows.filter(
                forecast_due_on__isnull=True, sign__forecast__isnull=False
            ).exclude(sign__forecast__basis=SignForecast.Basis.NONE)
        first, last = date(int(value), 1, 1), date(int(value), 12, 31)
        if first <= self.today:
            return rows.filter(forecast_due_on__gt=self.today, forecast_due_on__lte=last)
        return rows.filter(forecast_due_on__gte=first, forecast_due_on__lte=last)

    def filter_cohort(self, rows: ScopedQuerySet, _name: str, value: str) -> ScopedQuerySet:
        """Keep the signs whose due date follows from a cohort's readings."""
        return rows.filter(sign__forecast__fit__in=self.fits.filter(key=value).values("pk"))

    def filter_lot(
        self, rows: ScopedQuerySet, _name: str, finding: LotFinding
    ) -> ScopedQuerySet:
        return rows.filter(sign__in=signs_of_finding(finding).order_by().values("pk"))


def _chosen_word(field: forms.Field, value: object) -> str:
    if isinstance(value, list):
        return ", ".join(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    words = dict(getattr(field, "choices", ())) if isinstance(value, str) else {}
    keyed = {str(key): str(word) for key, word in words.items()}
    return keyed.get(str(value), str(value))


def sheeting_choices(organisation: Organisation) -> list[tuple[str, str]]:
    """Return the sheetings that occur among an organisation's signs."""
    found = (
        Standing.objects.owned_by(organisation)
        .order_by("sheeting")
        .values_list("sheeting", flat=True)
        .distinct()
    )
    return [(value or NOT_KNOWN,) * 2 for value in found]


def due_year_choices(today: date) -> list[tuple[str, str]]:
    """Return the years a due date may lie in, and what lies before and beyond them."""
    years = [str(today.year + ahead) for ahead in range(YEARS_AHEAD + 1)]
    first = (years[0], f"rest of {years[0]}")
    return [
        (BY_NOW, "by today"),
        first,
        *((year, f"in {year}") for year in years[1:]),
        (LATER, f"not within {YEARS_AHEAD} years"),
    ]


def cohort_choices(fits: ScopedQuerySet) -> list[tuple[str, str]]:
    """Return the cohorts that were fitted, in words."""
    keys = fits.order_by("key").values_list("key", flat=True)
    return [(key, CohortKey.read(key).words) for key in keys]


def lots_to_pick(organisation: Organisation, chosen: str | None) -> ScopedQuerySet:
    """Return the suspect lots, and the one an address names; all would be thousands."""
    picked = Q(pk=chosen) if chosen and chosen.isdecimal() else Q()
    return (
        LotFinding.objects.owned_by(organisation)
        .filter(Q(is_suspect=True) | picked if picked else Q(is_suspect=True))
        .order_by("-is_suspect", "q_value", "key")
    )


def standings_of(
    organisation: Organisation, data: QueryDict | None
) -> tuple[StandingFilter, Any]:
    """Return the filter form and the signs that pass it."""
    chosen = StandingFilter(
        data,
        Standing.objects.owned_by(organisation).order_by("-is_due", "due_order", "sign_id"),
        organisation=organisation,
    )
    return chosen, chosen.qs

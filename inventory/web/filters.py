"""The filters that map and list share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import django_filters as filters
from django import forms

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.models import Road, Sign, Standing

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
NOT_KNOWN = "not known"


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

    class Meta:
        model = Standing
        fields = ()

    def __init__(
        self, data: QueryDict | None, queryset: ScopedQuerySet, *, organisation: Organisation
    ) -> None:
        super().__init__(data=data, queryset=queryset)
        self.filters["road"].queryset = Road.objects.owned_by(organisation)
        self.filters["sheeting"].extra["choices"] = sheeting_choices(organisation)

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

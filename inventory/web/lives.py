"""How long faces last: cohorts' lives, the agency's own, and groups replaced whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.engineering.forecast.cohorts import CohortKey
from inventory.engineering.forecast.fade import LEAST_FADED, FadeSource
from inventory.engineering.forecast.life import USUAL_LIFE_YEARS, usual_life
from inventory.engineering.standards.studies import service_lives
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import InventoryError
from inventory.models import Role
from inventory.services.forecast.cohort_lives import (
    group_interval,
    newest_fits,
    stored_life,
    stored_or_reckoned_fades,
)
from inventory.services.forecast.expected_lives import (
    expected_lives,
    faces_words,
    set_expected_life,
)
from inventory.web.life_forms import ExpectedLifeForm, GroupForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.engineering.forecast.fade import FadeLife
    from inventory.engineering.forecast.life import CrossingAge, Life
    from inventory.engineering.standards.studies import ServiceLife
    from inventory.models import CohortFit
    from inventory.services.forecast.cohort_lives import GroupAnswer

COHORTS_PER_PAGE = 25
USUAL_SHARE_KEPT = 95  # an assumption that stands in the form until it is changed


@dataclass(frozen=True)
class CohortLine:
    """A cohort's life as the table shows it."""

    fit: CohortFit
    life: Life | None

    @property
    def name(self) -> str:
        """Return the sheeting type and colour."""
        kind = f"Type {self.fit.sheeting_type}" if self.fit.sheeting_type else "Type not known,"
        return f"{kind} {_color_words(self.fit.color)}"

    @property
    def details(self) -> str:
        """Return the rest of what the faces have in common."""
        words = CohortKey.read(self.fit.key).words
        return words.partition(f" {self.fit.color.replace('_', ' ')}, ")[2]

    @property
    def ages(self) -> list[AgeCell]:
        """Return the ages by which 5 %, 15 % and half are below."""
        if self.life is None:
            return []
        life = self.life
        return [
            AgeCell(
                words=years_words(each),
                bounds=bounds_words(each),
                is_beyond=life.is_beyond_ages_seen(each),
                name="Half below, years"
                if each is life.median
                else f"{each.share * 100:.0f} % below, years",
            )
            for each in (*life.early, life.median)
        ]


@dataclass(frozen=True)
class AgeCell:
    """One age of a cohort's life as a cell shows it."""

    words: str
    bounds: str
    is_beyond: bool
    name: str


@dataclass(frozen=True)
class FadeLine:
    """When a colour fades as the table shows it."""

    sheeting_type: str
    color: str
    life: FadeLife

    @property
    def words(self) -> str:
        kind = f"Type {self.sheeting_type}" if self.sheeting_type else "Type not known,"
        return f"{kind} {_color_words(self.color)}"

    @property
    def early(self) -> str:
        return reached(self.life.early_years, self.life)

    @property
    def median(self) -> str:
        return reached(self.life.years, self.life)

    @property
    def bounds(self) -> str:
        low, high = self.life.low_years, self.life.high_years
        if low is None:
            return ""
        return f"{low:.1f} to {high:.1f}" if high is not None else f"{low:.1f} or more"


def _color_words(color: str) -> str:
    return Color(color).words if color in set(Color) else color.replace("_", " ")


def years_words(crossing: CrossingAge) -> str:
    """Return an age in years, or that it is over 60."""
    return "over 60" if crossing.years is None else f"{crossing.years:.1f}"


def bounds_words(crossing: CrossingAge) -> str:
    """Return the bounds of an age."""
    if crossing.low_years is None:
        return "over 60"
    if crossing.high_years is None:
        return f"{crossing.low_years:.1f} to over 60"
    return f"{crossing.low_years:.1f} to {crossing.high_years:.1f}"


def reached(years: float | None, life: FadeLife) -> str:
    """Return an age by which a share has faded, or up to which it had not."""
    if years is not None:
        return f"{years:.1f}"
    return f"not by {life.ends_at_years:.1f}" if life.ends_at_years is not None else ""


@require_safe
@role_required(Role.ENGINEER)
def lives_page(request: MemberRequest) -> HttpResponse:
    asked = "share_kept" in request.GET
    group_form = GroupForm(
        request.GET if asked else None, initial={"share_kept": USUAL_SHARE_KEPT}
    )
    answer, status = None, 200
    if asked:
        answer, status = _answer(request, group_form)
    initial = {"effective_on": timezone.localdate()}
    context = _context(request) | {
        "group_form": group_form,
        "answer": answer,
        "share_above": "" if answer is None else _percent(answer.interval.share_above),
        "answer_rows": []
        if answer is None
        else [
            (cohort, _percent(share))
            for cohort, share in zip(answer.cohorts, answer.interval.shares_above, strict=True)
        ],
        "life_form": ExpectedLifeForm(initial=initial),
    }
    return render(request, "inventory/forecast/lives.html", context, status=status)


@require_POST
@role_required(Role.ENGINEER)
def set_life(request: MemberRequest) -> HttpResponse:
    """Set a life of the agency's own, or withdraw the one in force."""
    form = ExpectedLifeForm(request.POST)
    status = 400
    if form.is_valid():
        try:
            row = set_expected_life(
                organisation=request.organisation, by=request.user, **form.cleaned_data
            )
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            done = "withdrawn" if row.years is None else f"{row.years:g} years"
            messages.success(
                request,
                f"Expected life of {faces_words(row)}: {done} from "
                f"{row.effective_on:%Y-%m-%d}. Due dates go by it when they are forecast next.",
            )
            return redirect("lives")
    context = _context(request) | {
        "group_form": GroupForm(initial={"share_kept": USUAL_SHARE_KEPT}),
        "life_form": form,
    }
    return render(request, "inventory/forecast/lives.html", context, status=status)


def _answer(request: MemberRequest, form: GroupForm) -> tuple[GroupAnswer | None, int]:
    if not form.is_valid():
        return None, 400
    fields = form.cleaned_data
    try:
        return group_interval(
            organisation=request.organisation,
            share_kept=fields["share_kept"] / 100,
            sheeting_type=fields["sheeting_type"],
            optics=fields["optics"],
            color=fields["color"],
        ), 200
    except InventoryError as error:
        return None, int(form.refuse(error))


def _context(request: MemberRequest) -> dict[str, Any]:
    agency, now = request.organisation, timezone.now()
    page = page_of(request, newest_fits(agency), COHORTS_PER_PAGE)
    fades = stored_or_reckoned_fades(organisation=agency, now=now)
    own = [
        (row, faces_words(row)) for row in expected_lives(agency, agency.day_of(now)).in_force
    ]
    own_page = Paginator(own, COHORTS_PER_PAGE).get_page(request.GET.get("own"))
    return {
        "page": page,
        "lines": [CohortLine(fit, stored_life(fit)) for fit in page],
        "fades": None
        if fades is None
        else [
            FadeLine(*key, life)
            for key, life in sorted(fades.items())
            if life.source is FadeSource.OWN
        ],
        "least_faded": LEAST_FADED,
        "usual": usual_life(),
        "usual_types": usual_life().sheeting_types.replace("; ", " and "),
        "usual_years": USUAL_LIFE_YEARS,
        "own_page": own_page,
        "published": _published(),
    }


def _percent(share: float) -> str:
    return f"{share * 100:.1f} %"


def _published() -> list[ServiceLife]:
    """Return published lives in years that were read in their source; none is a default."""
    return [row for row in service_lives() if row.is_verified and row.unit == "years"]

"""The cohorts of an agency's signs: what their readings say together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from inventory.engineering.forecast.fit import WEAK_PRIOR
from inventory.models import CohortFit, Role
from inventory.services.forecast.cohort_pages import cohort_lines, cohort_view, newest_fits
from inventory.services.sign_faces import local_types_of
from inventory.web.cohort_plots import plot_of_fit, plot_of_life
from inventory.web.cohort_words import CohortRow, CohortWords
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

COHORTS_PER_PAGE = 25


@require_safe
@role_required(Role.ENGINEER)
def cohort_list(request: MemberRequest) -> HttpResponse:
    page = page_of(request, newest_fits(request.organisation), COHORTS_PER_PAGE)
    rows = [CohortRow(each) for each in cohort_lines(list(page))]
    return render(request, "inventory/forecast/cohort_list.html", {"page": page, "rows": rows})


@require_safe
@role_required(Role.ENGINEER)
def cohort_page(request: MemberRequest, fit_id: int) -> HttpResponse:
    fit = get_object_or_404(CohortFit.objects.owned_by(request.organisation), pk=fit_id)
    view = cohort_view(fit=fit, organisation=request.organisation)
    context = {
        "fit": fit,
        "view": view,
        "row": CohortRow(view.line),
        "words": CohortWords(view, WEAK_PRIOR),
        "plot": plot_of_fit(view),
        "life_plot": plot_of_life(view.line.life),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/forecast/cohort_page.html", context)

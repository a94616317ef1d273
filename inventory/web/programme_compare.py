"""Two programmes side by side, and each position whose year differs between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.models import Role, Standing
from inventory.services.programme.comparing import changes_between, count_changes
from inventory.services.sign_faces import local_types_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.programme_result import ResultWords, span_words
from inventory.web.programmes import programme_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_safe
@role_required(Role.ENGINEER)
def compare_page(request: MemberRequest, programme_id: int, other_id: int) -> HttpResponse:
    before = programme_of(request, programme_id)
    after = programme_of(request, other_id)
    page = page_of(request, changes_between(before, after))
    standings = {
        each.sign_id: each
        for each in Standing.objects.filter(sign__in=[row.sign_id for row in page])
    }
    context = {
        "before": before,
        "after": after,
        "sides": [(each, span_words(each), ResultWords.of(each)) for each in (before, after)],
        "counts": count_changes(before, after),
        "page": page,
        "rows": [
            {
                "position": each.position,
                "standing": standings.get(each.sign_id),
                "before": each.year_before,
                "after": each.year_after,
            }
            for each in page
        ],
        "can_plan": True,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/programme/programme_compare.html", context)

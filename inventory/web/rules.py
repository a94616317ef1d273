"""The next version of an agency's rules, with what it would change; and its own levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.engineering.assessment.vocabulary import WORST_FIRST
from inventory.errors import InventoryError
from inventory.models import Role, Sign
from inventory.services.own_levels import set_agency_level
from inventory.services.people import set_policy
from inventory.services.policy_comparison import compare_policy
from inventory.services.rules import choices_of
from inventory.services.standing import policy_or_none
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import ROWS_PER_PAGE
from inventory.web.policy_forms import OwnLevelForm, PolicyForm
from inventory.web.standards import rules_context

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.services.policy_comparison import PolicyComparison

MOST_SIGNS_COMPARED = 20_000  # more are compared by manage.py set_policy --compare


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def next_rules(request: MemberRequest) -> HttpResponse:
    """Show the form, what the rules in it would change, or set them."""
    agency = request.organisation
    in_force = policy_or_none(agency, timezone.now())
    given = request.POST if request.method == "POST" else request.GET
    if request.method != "POST" and "show" not in given:
        form = PolicyForm(initial=PolicyForm.initial_of(in_force))
        return _show(request, form)
    form = PolicyForm(given)
    if not form.is_valid():
        return _show(request, form, status=400)
    proposed = choices_of(in_force) | form.cleaned_data
    try:
        if request.method == "POST":
            policy = set_policy(agency=agency, by=request.user, **proposed)
        elif _number_of_signs(request) > MOST_SIGNS_COMPARED:
            return _show(request, form, is_too_many=True)
        else:
            return _show(request, form, compared=compare_policy(agency=agency, **proposed))
    except (InventoryError, ValidationError) as error:
        return _show(request, form, status=form.refuse(error))
    messages.success(
        request,
        f"Rules version {policy.version} are set, in force from "
        f"{policy.effective_on:%Y-%m-%d}. Signs get their new verdicts when they are judged "
        "next (manage.py assess).",
    )
    return redirect("rules")


@require_POST
@role_required(Role.ENGINEER)
def set_own_level(request: MemberRequest) -> HttpResponse:
    """Set a level of the agency's own, or withdraw the one in force."""
    form = OwnLevelForm(request.POST)
    status = 400
    if form.is_valid():
        fields = form.cleaned_data
        try:
            level = set_agency_level(
                agency=request.organisation,
                by=request.user,
                **fields | {"minimum": fields["minimum"] or None},
            )
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            done = "withdrawn" if level.minimum_ra_cd_lx_m2 is None else "set"
            messages.success(
                request,
                f"The agency's own level is {done} from {level.effective_on:%Y-%m-%d}. Signs "
                "go by it when they are judged next (manage.py assess).",
            )
            return redirect("rules")
    context = rules_context(request.organisation) | {"level_form": form}
    return render(request, "inventory/assessment/rules.html", context, status=status)


def _number_of_signs(request: MemberRequest) -> int:
    signs = Sign.objects.owned_by(request.organisation)
    return int(signs.filter(state=Sign.State.INSTALLED).count())


def _show(
    request: MemberRequest,
    form: PolicyForm,
    *,
    compared: PolicyComparison | None = None,
    is_too_many: bool = False,
    status: int = 200,
) -> HttpResponse:
    context: dict[str, Any] = {
        "form": form,
        "compared": compared,
        "is_too_many": is_too_many,
    }
    if compared is not None or is_too_many:
        context["proposed"] = PolicyForm(request.GET, auto_id=False)
    if compared is not None:
        pages = Paginator(compared.changed, ROWS_PER_PAGE)
        context["page"] = pages.get_page(request.GET.get("page"))
        context["verdicts"] = [
            (verdict.value, compared.before[verdict.value], compared.after[verdict.value])
            for verdict in WORST_FIRST
            if compared.before[verdict.value] or compared.after[verdict.value]
        ]
    return render(request, "inventory/assessment/next_rules.html", context, status=status)

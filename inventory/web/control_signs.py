"""Control signs: enough of them, which more, when to measure them, and what they say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.engineering.forecast.control import control_signs_for
from inventory.errors import InventoryError
from inventory.models import MethodAssignment, MethodGroup, Position, Role
from inventory.services.forecast.control_signs import control_groups
from inventory.services.methods import set_control_signs
from inventory.services.sign_faces import local_types_of
from inventory.web.life_forms import ControlForm
from inventory.web.membership import MemberRequest, role_required

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.services.forecast.control_signs import ControlGroup, SheetingControls

CONTROLS_PER_PAGE = 50
GOOD_SHARE = 0.10


@dataclass(frozen=True)
class KindLine:
    """A row of the table of sheetings."""

    kind: SheetingControls

    @property
    def sooner(self) -> str:
        """Return the share of the others that are due before the first control sign."""
        said = self.kind.said
        return "" if said is None else f"{said.share_before_first * 100:.0f} %"

    @property
    def agreeing(self) -> str:
        said = self.kind.said
        return "" if said is None else f"{said.share_agreeing * 100:.0f} %"


@require_safe
@role_required(Role.ENGINEER)
def control_signs_page(request: MemberRequest) -> HttpResponse:
    is_asked = "lead_months" in request.GET
    form = ControlForm(request.GET if is_asked else ControlForm.usual())
    return _show(request, form)


@require_POST
@role_required(Role.ENGINEER)
def add_control_signs(request: MemberRequest, group_id: int) -> HttpResponse:
    """Make the ticked signs control signs, beside those that are."""
    groups = MethodGroup.objects.owned_by(request.organisation)
    group = get_object_or_404(groups, pk=group_id)
    ticked = [int(each) for each in request.POST.getlist("positions") if each.isdecimal()]
    under = MethodAssignment.objects.filter(group=group, until_on__isnull=True)
    already = under.filter(is_control_sign=True).values_list("position", flat=True)
    positions = Position.objects.owned_by(request.organisation).filter(
        pk__in={*already, *ticked}
    )
    if not ticked:
        messages.error(request, "No sign was ticked; tick those to measure for the others.")
        return redirect("control-signs")
    try:
        count = set_control_signs(
            group=group,
            positions=positions,
            from_on=request.organisation.day_of(timezone.now()),
            by=request.user,
        )
    except InventoryError as error:
        form = ControlForm(ControlForm.usual())
        form.is_valid()
        return _show(request, form, status=int(form.refuse(error)))
    messages.success(request, f"'{group}' has {count} control signs.")
    return redirect("control-signs")


def _show(request: MemberRequest, form: ControlForm, status: int = 200) -> HttpResponse:
    groups: list[ControlGroup] = []
    usual = ControlForm.usual()
    fields = form.cleaned_data if form.is_valid() else usual
    try:
        groups = control_groups(organisation=request.organisation, now=timezone.now(), **fields)
    except InventoryError as error:
        status = int(form.refuse(error))
        groups = control_groups(organisation=request.organisation, now=timezone.now())
    else:
        if not form.is_valid() and status == 200:
            status = 400
    controls = [(each, group.group) for group in groups for each in group.controls]
    context: dict[str, Any] = {
        "form": form,
        "groups": [(each, [KindLine(kind) for kind in each.sheetings]) for each in groups],
        "page": Paginator(controls, CONTROLS_PER_PAGE).get_page(request.GET.get("page")),
        "never": date.max,
        "good_share": GOOD_SHARE,
        "good_count": control_signs_for(GOOD_SHARE),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/forecast/control_signs.html", context, status=status)

"""What a press is set up with: its ink channels, its maintenance list, its set-up time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.errors import InventoryError
from inventory.models import InkChannel, MaintenanceTask, Press, Role
from inventory.services.production.inks import set_channel, set_setup_minutes
from inventory.services.production.maintenance import set_task
from inventory.web.membership import MemberRequest, role_required
from inventory.web.press_forms import ChannelForm, SetUpForm, TaskForm
from inventory.web.presses import presses_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

    from inventory.web.form_fields import TypedForm

PER_CENT = 100.0


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def channel_add(request: MemberRequest, press_id: int) -> HttpResponse:
    press = _press(request, press_id)
    form = ChannelForm(request.POST or None, initial={"is_in_use": True})
    return _settle(
        request, press, form, "Add an ink channel", lambda data: _channel(press, data)
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def channel_change(request: MemberRequest, press_id: int, channel_id: int) -> HttpResponse:
    press = _press(request, press_id)
    channel = get_object_or_404(InkChannel, press=press, pk=channel_id)
    share = channel.cover_share
    initial = {
        "name": channel.name,
        "color": channel.color,
        "kind": channel.kind,
        "ml_per_m2": channel.ml_per_m2,
        "cover_percent": None if share is None else round(share * PER_CENT, 6),
        "is_in_use": channel.is_in_use,
    }
    form = ChannelForm(request.POST or None, initial=initial)
    heading = f"Ink channel {channel.name}"
    return _settle(request, press, form, heading, lambda data: _channel(press, data, channel))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def task_add(request: MemberRequest, press_id: int) -> HttpResponse:
    press = _press(request, press_id)
    form = TaskForm(request.POST or None, initial={"is_in_use": True})
    return _settle(
        request, press, form, "Add a task", lambda data: set_task(press=press, **data)
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def task_change(request: MemberRequest, press_id: int, task_id: int) -> HttpResponse:
    press = _press(request, press_id)
    task = get_object_or_404(MaintenanceTask, press=press, pk=task_id)
    names = ("name", "every_days", "every_hours", "note", "is_in_use")
    form = TaskForm(request.POST or None, initial={name: getattr(task, name) for name in names})
    return _settle(
        request, press, form, task.name, lambda data: set_task(press=press, task=task, **data)
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def set_up(request: MemberRequest, press_id: int) -> HttpResponse:
    press = _press(request, press_id)
    form = SetUpForm(request.POST or None, initial={"setup_minutes": press.setup_minutes})
    return _settle(
        request,
        press,
        form,
        "Set-up of a run",
        lambda data: set_setup_minutes(press=press, **data),
    )


def _press(request: MemberRequest, press_id: int) -> Press:
    press: Press = get_object_or_404(presses_of(request), pk=press_id)
    return press


def _channel(press: Press, data: dict[str, Any], channel: InkChannel | None = None) -> Any:
    percent = data.pop("cover_percent")
    share = None if percent is None else percent / PER_CENT
    return set_channel(press=press, channel=channel, cover_share=share, **data)


def _settle(
    request: MemberRequest,
    press: Press,
    form: TypedForm,
    heading: str,
    service: Callable[[dict[str, Any]], Any],
) -> HttpResponse:
    """Show a form about a press, or write down what was typed into it."""
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                service({**form.cleaned_data, "by": request.user})
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "It is written down.")
                return redirect("press-page", press.pk)
    context = {"press": press, "form": form, "heading": heading}
    return render(request, "inventory/production/press_care.html", context, status=status)

"""Work a crew sees on the road and adds to its package, without the field app."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.errors import InventoryError
from inventory.models import PackageStop, Position, Role, Sign, StopResult, WorkPackage
from inventory.services.added_work import add_work
from inventory.services.people import has_role
from inventory.services.sign_faces import local_types_of
from inventory.services.work_packages import handed_out
from inventory.web.form_fields import PickField, RowField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.road_safety import after_safety_reminder

if TYPE_CHECKING:
    from django.http import HttpResponse

Task = PackageStop.Task
MOST_PACKAGES = 50
# What can be needed where a face stands, and where none does; what crews meet most first.
AT_A_SIGN = (Task.REPAIR, Task.REPLACE, Task.REMOVE, Task.READ, Task.LOOK, Task.CHECK)
AT_AN_EMPTY_PLACE = (Task.INSTALL, Task.REPAIR, Task.CHECK)


class PackageField(RowField):
    """A package by its title and day."""

    def label_from_instance(self, obj: Any) -> str:
        """Return what a package is called."""
        return f"{obj.title}, {obj.work_on:%Y-%m-%d}"


class AddedWorkForm(TypedForm):
    """What is needed at a place, and into which package it goes."""

    client_uuid = forms.UUIDField(widget=forms.HiddenInput, required=False)
    task = PickField(
        label="What is needed", choices=Task.choices, missing="Say what is needed here."
    )
    note = WordsField(
        label="Note for the next crew",
        max_length=255,
        help_text="What you saw, and what it takes.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    is_done = forms.BooleanField(label="Done just now", required=False)
    package = PackageField(
        label="Package",
        queryset=WorkPackage.objects.none(),
        empty_label="pick the package",
        missing="Pick the package it goes into.",
    )

    def __init__(self, *args: Any, packages: Any, tasks: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast("Any", self.fields["package"]).queryset = packages
        cast("Any", self.fields["task"]).choices = [
            ("", "pick one"),
            *((each.value, each.label) for each in tasks),
        ]


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
@after_safety_reminder
def add_work_here(request: MemberRequest, position_id: int) -> HttpResponse:
    position: Position = get_object_or_404(
        Position.objects.owned_by(request.organisation).select_related(
            "organisation", "support__road"
        ),
        pk=position_id,
    )
    sign = (
        Sign.objects.owned_by(request.organisation)
        .filter(position=position, state=Sign.State.INSTALLED)
        .order_by("pk")
        .first()
    )
    packages = _packages_with(request)
    keys = list(packages.values_list("pk", flat=True)[:MOST_PACKAGES])
    form = AddedWorkForm(
        request.POST or None,
        packages=packages.filter(pk__in=keys),
        tasks=AT_A_SIGN if sign else AT_AN_EMPTY_PLACE,
        # A button tapped twice sends the same key twice.
        initial={"client_uuid": uuid.uuid4(), "package": keys[0] if keys else None},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                stop = _add(request, form, position)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                words = (
                    f"Stop {stop.number} of '{stop.package.title}': {stop.get_task_display()}."
                )
                messages.success(request, words)
                if sign is not None:
                    return redirect("crew-sign", sign.pk)
                return redirect("package-page", stop.package_id)
    context = {
        "position": position,
        "sign": sign,
        "form": form,
        "has_package": bool(keys),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/crew/add_work.html", context, status=status)


def _add(request: MemberRequest, form: AddedWorkForm, position: Position) -> PackageStop:
    data = form.cleaned_data
    return add_work(
        package=data["package"],
        position=position,
        task=data["task"],
        note=data["note"],
        outcome=StopResult.Outcome.DONE if data["is_done"] else "",
        by=request.user,
        client_uuid=data["client_uuid"],
    )


def _packages_with(request: MemberRequest) -> Any:
    """Return the packages with a crew that the person may add to, the newest day first."""
    rows = handed_out(request.organisation).order_by("-work_on", "-pk")
    if has_role(request.membership, (Role.ENGINEER,)):
        return rows
    return rows.filter(Q(crew=None) | Q(crew=request.user))

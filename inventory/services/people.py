"""Organisations, people and the rules an agency judges by."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any
from zoneinfo import available_timezones

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    AgencyPolicy,
    Membership,
    Organisation,
    Role,
    ShopCustomer,
    User,
)
from inventory.services.logbook import log
from inventory.services.rules import build_policy

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

ROLES_OF_KIND = {
    Organisation.Kind.AGENCY: {Role.CREW, Role.ENGINEER, Role.ADMINISTRATOR},
    Organisation.Kind.SHOP: {Role.SHOP, Role.ADMINISTRATOR},
}


def has_role(membership: Membership, roles: Iterable[Role]) -> bool:
    """Return whether a membership may do what one of the roles may; administrators may all."""
    if membership.role == Role.ADMINISTRATOR:
        own = ROLES_OF_KIND[Organisation.Kind(membership.organisation.kind)]
        return any(role in own for role in roles)
    return any(membership.role == role for role in roles)


@cache
def _time_zones() -> frozenset[str]:
    """Return the names of all time zones; looking for them reads hundreds of files."""
    return frozenset(available_timezones())


@transaction.atomic
def create_organisation(
    *,
    name: str,
    kind: str,
    initials: str = "",
    time_zone: str = "UTC",
    is_invented: bool = False,
) -> Organisation:
    """Create an agency or a shop."""
    if time_zone not in _time_zones():
        msg = (
            f"'{time_zone}' is no time zone; use a name such as America/Chicago, of the zone "
            "whose calendar days the organisation goes by."
        )
        raise OutOfRangeError(msg)
    organisation = Organisation(
        name=name, kind=kind, initials=initials, time_zone=time_zone, is_invented=is_invented
    )
    organisation.full_clean()
    organisation.save()
    return organisation


@transaction.atomic
def add_customer(*, shop: Organisation, agency: Organisation) -> ShopCustomer:
    """Record that a shop prints for an agency, so that the agency can order from it."""
    if shop.kind != Organisation.Kind.SHOP or agency.kind != Organisation.Kind.AGENCY:
        msg = f"{shop} must be a sign shop and {agency} a road agency."
        raise StateConflictError(msg)
    customer, _created = ShopCustomer.objects.get_or_create(organisation=shop, agency=agency)
    return customer


@transaction.atomic
def add_person(
    *,
    username: str,
    password: str,
    organisation: Organisation,
    role: str,
    first_name: str = "",
    last_name: str = "",
) -> User:
    """Give a person a role in an organisation, creating the person where needed."""
    if role not in ROLES_OF_KIND[Organisation.Kind(organisation.kind)]:
        msg = (
            f"{organisation} is a {organisation.get_kind_display()}; it has no role "
            f"'{Role(role).label}'."
        )
        raise OutOfRangeError(msg)
    user, created = User.objects.get_or_create(
        username=username, defaults={"first_name": first_name, "last_name": last_name}
    )
    if created:
        user.set_password(password)
        user.save(update_fields=["password"])
    Membership.objects.get_or_create(user=user, organisation=organisation, role=role)
    return user


@transaction.atomic
def set_policy(
    *,
    agency: Organisation,
    effective_on: date,
    edition: str,
    basis: str,
    by: User | None = None,
    now: datetime | None = None,
    **fields: Any,
) -> AgencyPolicy:
    """Give an agency its next version of rules; earlier versions stay as they were."""
    now = now or timezone.now()
    Organisation.objects.select_for_update().get(pk=agency.pk)
    last = AgencyPolicy.objects.filter(organisation=agency).aggregate(n=Max("version"))["n"]
    policy = build_policy(
        agency=agency,
        version=(last or 0) + 1,
        effective_on=effective_on,
        edition=edition,
        basis=basis,
        recorded_at=now,
        **fields,
    )
    policy.save()
    log(
        organisation=agency,
        actor=by,
        verb="set rules",
        text=f"Rules version {policy.version} set, in force from {effective_on:%Y-%m-%d}.",
        at=now,
    )
    return policy


def policy_at(agency: Organisation, day: date) -> AgencyPolicy:
    """Return the rules in force on a day."""
    policy = (
        AgencyPolicy.objects.owned_by(agency)
        .filter(effective_on__lte=day)
        .order_by("-effective_on", "-version")
        .first()
    )
    if policy is None:
        msg = (
            f"{agency} has no rules in force on {day:%Y-%m-%d}; set its edition and rules with "
            "manage.py set_policy first."
        )
        raise StateConflictError(msg)
    result: AgencyPolicy = policy
    return result

"""Loading the scenario: all of its records in one transaction, then its pictures one by one.

Stopped before the end, nothing of the records is kept and the next run starts again; pictures
go on where they were. What is there is never made twice, and what people typed since stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction

from inventory.engineering.standards.vocabulary import Color, Series, Shape, SymbolClass
from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import (
    Inspection,
    LogbookEntry,
    Membership,
    Organisation,
    Photo,
    Role,
    Sign,
    Support,
    User,
)
from inventory.services.demo.methods import store_methods
from inventory.services.demo.pictures import draw_photo
from inventory.services.demo.plan import plan_scenario
from inventory.services.demo.press_history import Parties, PressHistory, moment
from inventory.services.demo.records import (
    RECORDED_AFTER,
    store_faces,
    store_inspections,
    store_instruments,
    store_positions,
    store_roads,
    store_supports,
    uuid_of,
)
from inventory.services.demo.words import words
from inventory.services.inspection import store_photo
from inventory.services.logbook import log
from inventory.services.people import (
    add_customer,
    add_person,
    create_organisation,
    set_policy,
)
from inventory.services.standards import add_code_alias, add_sign_type
from inventory.services.statistics import refresh_statistics

if TYPE_CHECKING:
    from inventory.services.demo.plan import ScenarioPlan
    from inventory.services.importing.reports import Progress

INSPECTIONS_AT_ONCE = 500
LOADED_VERB = "load demo"
PHOTO_CAPTION = "Drawn for the invented demo scenario."


@dataclass(frozen=True, slots=True)
class LoadResult:
    """What is there now, and whether this run made it."""

    agency: Organisation
    shop: Organisation
    is_new: bool
    photos_made: int
    support_count: int
    sign_count: int
    inspection_count: int


def load_scenario(
    *,
    size: float = 1.0,
    seed: int | None = None,
    progress: Progress | None = None,
    is_forced: bool = False,
) -> LoadResult:
    """
    Load the invented scenario where it is not there yet, and finish one that was interrupted.

    Outside the demo it is refused unless forced; then nobody can sign in with a demo password.
    """
    tick = progress or _silent
    _check_allowed(size, is_forced)
    plan: ScenarioPlan | None = None
    parties = _stored_parties()
    is_new = parties is None
    if parties is None:
        plan = plan_scenario(
            seed=words("scenario")["seed"] if seed is None else seed,
            size=size,
            last_day=words("scenario")["last_day"],
        )
        parties = _store(plan, tick, size)
    agency, shop = parties
    photos_made = _store_photos(agency, plan, tick)
    return LoadResult(
        agency=agency,
        shop=shop,
        is_new=is_new,
        photos_made=photos_made,
        support_count=Support.objects.owned_by(agency).count(),
        sign_count=Sign.objects.filter(owner=agency, state=Sign.State.INSTALLED).count(),
        inspection_count=Inspection.objects.owned_by(agency).count(),
    )


def scenario_parties() -> tuple[Organisation, Organisation]:
    """Return the invented agency and shop; refuse where the scenario is not loaded."""
    parties = _stored_parties()
    if parties is None:
        msg = "The demo scenario is not loaded; run 'manage.py load_demo' first."
        raise StateConflictError(msg)
    return parties


def _silent(step: str, done: int, total: int) -> None:
    """Show nothing."""
    del step, done, total


def _check_allowed(size: float, is_forced: bool) -> None:
    if not 0.0 < size <= 1.0:
        msg = f"A scenario of size {size:g} cannot be made; it is over 0 and at most 1."
        raise OutOfRangeError(msg)
    if not settings.IS_DEMO and not is_forced:
        msg = (
            "The invented county is loaded into a demo only, and SIGNFLEET_DEMO is off; use "
            "'make demo', or '--force' to put it into this database without its passwords."
        )
        raise NotPermittedError(msg)


def _stored_parties() -> tuple[Organisation, Organisation] | None:
    """Return the scenario's agency and shop; real ones of those names are left alone."""
    names = [words("scenario")[which]["name"] for which in ("agency", "shop")]
    stored = {each.name: each for each in Organisation.objects.filter(name__in=names)}
    for name, found in stored.items():
        if not found.is_invented:
            msg = (
                f"There is an organisation '{name}' that is not marked as invented; the demo "
                "scenario is not mixed with it. Use another database."
            )
            raise StateConflictError(msg)
    # Both are stored in one transaction: there are two, or none.
    return (stored[names[0]], stored[names[1]]) if len(stored) == len(names) else None


@transaction.atomic
def _store(
    plan: ScenarioPlan, tick: Progress, size: float
) -> tuple[Organisation, Organisation]:
    """Store all records, or none of them."""
    # Of two runs at once, the second meets the first one's name and stores nothing.
    parties, crew = _store_people()
    agency, shop = parties.agency, parties.shop
    steps = 8
    tick("records", 0, steps)
    _store_own_types(agency)
    roads = store_roads(agency)
    tick("records", 1, steps)
    supports = store_supports(agency, plan, roads)
    tick("records", 2, steps)
    positions = store_positions(agency, plan, supports)
    tick("records", 3, steps)
    history = PressHistory(parties, plan.site, words("scenario")["last_day"])
    history.store_press(plan.runs)
    tick("records", 4, steps)
    signs = store_faces(agency, shop, plan, positions, history)
    tick("records", 5, steps)
    history.store_orders(plan.runs, signs, positions)
    tick("records", 6, steps)
    history.store_quality(plan.runs, signs)
    instruments = store_instruments(agency, plan, crew)
    tick("records", 7, steps)
    total = len(plan.inspections)
    for start in range(0, total, INSPECTIONS_AT_ONCE):
        part = plan.inspections[start : start + INSPECTIONS_AT_ONCE]
        store_inspections(agency, part, signs, instruments, crew)
        tick("inspections", start + len(part), total)
    store_methods(agency, parties.engineer)
    log(
        organisation=agency,
        actor=None,
        verb=LOADED_VERB,
        text=f"Invented scenario loaded: {len(plan.supports)} supports, {len(signs)} faces.",
        at=moment(words("scenario")["last_day"], 18),
        detail={
            "seed": plan.site.seed,
            "size": size,
            "photographed": [visit.key for visit in plan.photographed],
        },
    )
    tick("records", steps, steps)
    refresh_statistics()
    return agency, shop


def _store_people() -> tuple[Parties, list[User]]:
    """Store both organisations, their people and the agency's rules."""
    data = words("scenario")
    made = {
        which: create_organisation(
            name=data[which]["name"],
            kind=kind,
            initials=data[which]["initials"],
            time_zone=data[which]["time_zone"],
            is_invented=True,
        )
        for which, kind in (
            ("agency", Organisation.Kind.AGENCY),
            ("shop", Organisation.Kind.SHOP),
        )
    }
    add_customer(shop=made["shop"], agency=made["agency"])
    users = [_store_person(each, made[each["at"]]) for each in data["people"]]
    by_role: dict[str, list[User]] = {}
    for each, user in zip(data["people"], users, strict=True):
        by_role.setdefault(each["role"], []).append(user)
    for each in data["policies"]:
        set_policy(
            agency=made["agency"],
            effective_on=each["effective_on"],
            edition=each["edition"],
            basis=each["basis"],
            excluded_groups=each["excluded_groups"],
            damage_days=each.get("damage_days", {}),
            by=by_role[Role.ENGINEER][0],
            now=moment(each["effective_on"] - timedelta(days=10), 14),
        )
    parties = Parties(
        made["agency"], made["shop"], by_role[Role.ENGINEER][0], by_role[Role.SHOP][0]
    )
    return parties, by_role[Role.CREW]


def _store_person(data: dict[str, str], organisation: Organisation) -> User:
    """Store one person; somebody else's account of that name is never taken over."""
    if Membership.objects.filter(user__username=data["username"]).exists():
        msg = (
            f"There is a person '{data['username']}' in this database already; the demo's "
            "people are not mixed with yours. Use another database."
        )
        raise StateConflictError(msg)
    user = add_person(
        username=data["username"],
        password=words("scenario")["logins"]["password"],
        organisation=organisation,
        role=data["role"],
        first_name=data["first_name"],
        last_name=data["last_name"],
    )
    if not settings.IS_DEMO:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    return user


def _store_own_types(agency: Organisation) -> None:
    data = words("scenario")
    now = moment(data["first_day"], 12)
    for row in data["local_types"]:
        add_sign_type(
            organisation=agency,
            code=row["code"],
            name=row["name"],
            series=Series(row["series"]),
            shape=Shape(row["shape"]),
            background=Color(row["background"]),
            legend=Color(row["legend"]),
            symbol_class=SymbolClass(row["symbol_class"]),
            width_in=row["width_in"],
            height_in=row["height_in"],
            now=now,
        )
    for row in data["aliases"]:
        add_code_alias(organisation=agency, alias=row["alias"], code=row["code"], now=now)


def _store_photos(agency: Organisation, plan: ScenarioPlan | None, tick: Progress) -> int:
    """Draw and store the pictures that are not there yet; return how many were made."""
    loaded = LogbookEntry.objects.filter(organisation=agency, verb=LOADED_VERB).first()
    if loaded is None:
        return 0
    keys = {uuid_of(f"photo:{key}"): key for key in loaded.detail["photographed"]}
    done = set(Photo.objects.filter(client_uuid__in=keys).values_list("client_uuid", flat=True))
    missing = {key: client_uuid for client_uuid, key in keys.items() if client_uuid not in done}
    if not missing:
        return 0
    plan = plan or plan_scenario(
        seed=loaded.detail["seed"],
        size=loaded.detail["size"],
        last_day=words("scenario")["last_day"],
    )
    crew = _crew(agency)
    wanted = [visit for visit in plan.photographed if visit.key in missing]
    for number, visit in enumerate(wanted, start=1):
        inspection = Inspection.objects.select_related("sign").get(
            client_uuid=uuid_of(visit.key)
        )
        store_photo(
            sign=inspection.sign,
            inspection=inspection,
            content=draw_photo(
                visit.face, visit.observations, plan.site.rng(f"photo:{visit.key}")
            ),
            taken_at=visit.taken_at,
            by=crew[visit.crew],
            caption=PHOTO_CAPTION,
            client_uuid=missing[visit.key],
            is_drawn=True,
            now=visit.taken_at + RECORDED_AFTER,
        )
        tick("photos", number, len(wanted))
    return len(wanted)


def _crew(agency: Organisation) -> list[User]:
    members = Membership.objects.filter(organisation=agency, role=Role.CREW)
    users = {each.user.username: each.user for each in members.select_related("user")}
    return [
        users[each["username"]]
        for each in words("scenario")["people"]
        if each["role"] == Role.CREW
    ]

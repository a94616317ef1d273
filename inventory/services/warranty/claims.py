"""Claims on a warranty: drafted with their evidence, sent, passed on, answered, credited."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Max, Q, Sum
from django.utils import timezone

from inventory.engineering.production.warranty import Condition, Shown
from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import (
    ClaimAnswer,
    ClaimCredit,
    ClaimFace,
    ClaimStatement,
    ClaimStep,
    PrintOrder,
    WarrantyClaim,
)
from inventory.services.logbook import log
from inventory.services.ordering.drafting import lock_agency
from inventory.services.ordering.lines import lock_order
from inventory.services.warranty.candidates import find_candidates
from inventory.services.warranty.evidence import evidence_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import date, datetime

    from inventory.models import OrderLine, Organisation, User

State = WarrantyClaim.State
MOST_FACES = 200
MOST_LETTERS = 4_000
MOST_WORDS = 255
LONGEST_WAIT = timedelta(days=2 * 366)
UNDER_WAY = (State.SENT, State.PASSED_ON)
CREDITED_ON = (
    PrintOrder.State.RELEASED,
    PrintOrder.State.PRINTED,
    PrintOrder.State.CLOSED,
)


def taken_by_claims(agency: Organisation) -> Q:
    """Return which colours of faces are in a claim that is under way, or were accepted."""
    return Q(claim__agency=agency) & (
        Q(claim__state__in=(State.DRAFT, *UNDER_WAY)) | Q(answer__is_accepted=True)
    )


@transaction.atomic
def draft_claim(
    *,
    agency: Organisation,
    faces: Sequence[tuple[int, str]],
    note: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> WarrantyClaim:
    """
    Draft a claim for colours of faces, of one shop and one lot, with what it rests on.

    Each is asked again whether it falls short; the evidence is kept as it is known now. One
    whose conditions are shown not to be met is refused, with the condition.
    """
    now = now or timezone.now()
    wanted = sorted(set(faces))
    if not 1 <= len(wanted) <= MOST_FACES:
        msg = f"A claim has 1 to {MOST_FACES} colours of faces, and not {len(wanted)}."
        raise OutOfRangeError(msg)
    lock_agency(agency)
    found = find_candidates(agency, now=now, signs={sign for sign, _color in wanted})
    known = {(each.sign.pk, each.color): each for each in found.candidates}
    taken = set(
        ClaimFace.objects.filter(taken_by_claims(agency)).values_list("sign_id", "color")
    )
    for key in wanted:
        each = known.get(key)
        if each is None:
            msg = (
                f"The {key[1]} of sign {key[0]} does not fall short of a promise in force any "
                "more, or never did; look at the list again."
            )
            raise StateConflictError(msg)
        if key in taken:
            msg = f"The {key[1]} of sign {key[0]} is in a claim already."
            raise StateConflictError(msg)
        if each.failed:
            failed = each.failed[0]
            msg = (
                f"The {key[1]} of sign {key[0]} cannot be claimed: {failed.words} is not met "
                f"({failed.why})."
            )
            raise StateConflictError(msg)
    chosen = [known[key] for key in wanted]
    shops = {each.term.organisation for each in chosen}
    lots = {each.lot for each in chosen}
    if len(shops) > 1 or len(lots) > 1:
        msg = "A claim is for faces of one shop and one lot of sheeting; make one for each."
        raise OutOfRangeError(msg)
    last = WarrantyClaim.objects.owned_by(agency).aggregate(last=Max("number"))["last"] or 0
    claim: WarrantyClaim = WarrantyClaim.objects.create(
        agency=agency,
        shop=shops.pop(),
        number=last + 1,
        lot=lots.pop(),
        note=_told(note, "note"),
        drafted_at=now,
    )
    ClaimFace.objects.bulk_create(
        ClaimFace(
            claim=claim, sign=each.sign, color=each.color, term=each.term, evidence=evidence
        )
        for each, evidence in zip(chosen, evidence_of(chosen, agency), strict=True)
    )
    _note_step(claim, State.DRAFT, "", by, now, f"drafted for {len(chosen)} colours of faces.")
    return claim


@transaction.atomic
def send_claim(
    *,
    claim: WarrantyClaim,
    answer_due_on: date,
    words: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> WarrantyClaim:
    """Send a draft to the shop, with the day until which its signs wait unless unsafe."""
    now = now or timezone.now()
    claim = _lock(claim)
    _must_be(claim, State.DRAFT)
    today = claim.agency.day_of(now)
    if not today <= answer_due_on <= today + LONGEST_WAIT:
        msg = (
            f"An answer by {answer_due_on:%Y-%m-%d}: give a day from {today:%Y-%m-%d} to "
            f"{today + LONGEST_WAIT:%Y-%m-%d}."
        )
        raise OutOfRangeError(msg)
    claim.sent_at, claim.answer_due_on = now, answer_due_on
    done = f"sent to {claim.shop}, to be answered by {answer_due_on:%Y-%m-%d}."
    _move(claim, State.SENT, words, by, now, done)
    return claim


@transaction.atomic
def pass_claim_on(
    *, claim: WarrantyClaim, words: str, by: User | None = None, now: datetime | None = None
) -> WarrantyClaim:
    """Note that the shop passed a claim on; ``words`` such as its number at the supplier."""
    now = now or timezone.now()
    claim = _lock(claim)
    _must_be(claim, State.SENT)
    _move(claim, State.PASSED_ON, words, by, now, "passed on to the supplier.")
    return claim


@transaction.atomic
def withdraw_claim(
    *, claim: WarrantyClaim, words: str, by: User | None = None, now: datetime | None = None
) -> WarrantyClaim:
    """Withdraw a claim that is not answered, with the reason; its signs wait no more."""
    now = now or timezone.now()
    claim = _lock(claim)
    _must_be(claim, State.DRAFT, *UNDER_WAY)
    if not words.strip():
        msg = "Say why the claim is withdrawn."
        raise OutOfRangeError(msg)
    _move(claim, State.WITHDRAWN, words, by, now, f"withdrawn: {words.strip()}")
    return claim


@transaction.atomic
def state_condition(
    *,
    claim: WarrantyClaim,
    condition: str,
    is_met: bool,
    words: str,
    by: User | None = None,
    now: datetime | None = None,
) -> ClaimStatement:
    """Keep what a party states of a condition that the records leave open; newest counts."""
    now = now or timezone.now()
    claim = _lock(claim)
    _must_be(claim, State.DRAFT, *UNDER_WAY)
    known = open_conditions(claim)
    if condition not in known:
        msg = f"No condition '{condition}' of {claim} is open; nothing has to be stated of it."
        raise OutOfRangeError(msg)
    told = words.strip()
    if not 0 < len(told) <= MOST_WORDS:
        msg = f"Say what is known of it, in up to {MOST_WORDS} letters; it has {len(told)}."
        raise OutOfRangeError(msg)
    statement: ClaimStatement = ClaimStatement.objects.create(
        claim=claim,
        condition=condition,
        is_met=is_met,
        words=told,
        stated_at=now,
        stated_by=by,
    )
    stated = "met" if is_met else "not met"
    _log(claim, by, "state condition", f"{known[condition]}: {stated}; {told}", now)
    return statement


@transaction.atomic
def answer_claim(
    *,
    claim: WarrantyClaim,
    answers: Mapping[int, tuple[bool, str]],
    words: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> WarrantyClaim:
    """Keep the supplier's answer for every face of a claim; a refusal says why."""
    now = now or timezone.now()
    claim = _lock(claim)
    _must_be(claim, *UNDER_WAY)
    faces = {face.pk: face for face in claim.faces.all()}
    if set(answers) != set(faces):
        msg = f"{claim} has {len(faces)} colours of faces; answer for each of them."
        raise OutOfRangeError(msg.capitalize())
    for key, (is_accepted, why) in answers.items():
        if len(why.strip()) > MOST_WORDS or not (is_accepted or why.strip()):
            msg = (
                f"Say why {faces[key]} is refused, in up to {MOST_WORDS} letters, or accept it."
            )
            raise OutOfRangeError(msg)
    ClaimAnswer.objects.bulk_create(
        ClaimAnswer(
            face=faces[key],
            is_accepted=is_accepted,
            words=why.strip(),
            answered_at=now,
            answered_by=by,
        )
        for key, (is_accepted, why) in answers.items()
    )
    accepted = sum(is_accepted for is_accepted, _why in answers.values())
    done = f"answered: {accepted} of {len(answers)} accepted."
    _move(claim, State.ANSWERED, words, by, now, done)
    return claim


@transaction.atomic
def credit_claim(
    *,
    claim: WarrantyClaim,
    line: OrderLine,
    face_count: int,
    words: str,
    by: User | None = None,
    now: datetime | None = None,
) -> ClaimCredit:
    """
    Credit accepted faces onto a line of an order between the same two parties.

    Never more faces than were accepted, nor more on a line than it orders; what was credited
    on an order that was cancelled since may be credited again.
    """
    now = now or timezone.now()
    claim = _lock(claim)
    _must_be(claim, State.ANSWERED)
    order = lock_order(line.order)
    line = order.lines.get(pk=line.pk)  # as it is now that nobody else changes it
    if (order.agency_id, order.shop_id) != (claim.agency_id, claim.shop_id):
        msg = f"Order {order.number} is not one of {claim.agency} from {claim.shop}."
        raise NotPermittedError(msg)
    if not words.strip():
        msg = "Say what is credited, as the remedy names it."
        raise OutOfRangeError(msg)
    if order.state not in CREDITED_ON:
        msg = (
            f"Order {order.number} is {order.get_state_display()}; a credit goes onto an order "
            "that was released and not cancelled."
        )
        raise StateConflictError(msg)
    left = accepted_faces(claim) - credited_faces(claim)
    on_line = line.warranty_credits.aggregate(all=Sum("face_count"))["all"] or 0
    most = min(left, line.quantity - on_line)
    if not 1 <= face_count <= most:
        msg = (
            f"{face_count} faces cannot be credited on line {line.number}: {left} accepted "
            f"faces are left to credit, and {line.quantity - on_line} of the line's "
            f"{line.quantity} have no credit yet."
        )
        raise OutOfRangeError(msg)
    credit: ClaimCredit = ClaimCredit.objects.create(
        claim=claim,
        line=line,
        face_count=face_count,
        words=words.strip()[:MOST_WORDS],
        credited_at=now,
        credited_by=by,
    )
    done = f"{face_count} faces credited on line {line.number} of order {order.number}."
    _log(claim, by, "credit claim", done, now)
    return credit


def accepted_faces(claim: WarrantyClaim) -> int:
    """Return how many faces have a colour that was accepted."""
    accepted = claim.faces.filter(answer__is_accepted=True).order_by()
    return accepted.values("sign").distinct().count()


def credited_faces(claim: WarrantyClaim) -> int:
    """Return how many faces are credited, on orders that were not cancelled since."""
    standing = claim.credits.exclude(line__order__state=PrintOrder.State.CANCELLED)
    credited: int | None = standing.aggregate(all=Sum("face_count"))["all"]
    return credited or 0


def open_conditions(claim: WarrantyClaim) -> dict[str, str]:
    """Return the conditions that the records leave open for a face of a claim, by key."""
    found: dict[str, str] = {}
    for evidence in claim.faces.values_list("evidence", flat=True):
        for each in evidence["conditions"]:
            if each["shown"] == Shown.UNKNOWN:
                found.setdefault(each["key"], each["words"])
    return found


def conditions_of(
    face: ClaimFace, statements: Iterable[ClaimStatement], day_of: Callable[[datetime], date]
) -> tuple[Condition, ...]:
    """
    Return a face's conditions, with what was stated of those the records leave open.

    ``statements`` in the order in which they were made; days are told as ``day_of`` has them,
    those of the agency.
    """
    newest = {each.condition: each for each in statements}
    found = []
    for each in face.evidence["conditions"]:
        condition = Condition(each["key"], each["words"], Shown(each["shown"]), each["why"])
        said = newest.get(condition.key)
        if condition.shown is Shown.UNKNOWN and said is not None:
            who = said.stated_by or "a party"
            condition = Condition(
                condition.key,
                condition.words,
                Shown.MET if said.is_met else Shown.FAILED,
                f"stated by {who} on {day_of(said.stated_at):%Y-%m-%d}: {said.words}",
            )
        found.append(condition)
    return tuple(found)


def _lock(claim: WarrantyClaim) -> WarrantyClaim:
    locked: WarrantyClaim = (
        WarrantyClaim.objects.select_for_update(of=("self",))
        .select_related("agency", "shop")
        .get(pk=claim.pk)
    )
    return locked


def _must_be(claim: WarrantyClaim, *states: str) -> None:
    if claim.state not in states:
        msg = f"Claim {claim.number} is {claim.get_state_display()}; this cannot be done now."
        raise StateConflictError(msg)


def _move(
    claim: WarrantyClaim, state: str, words: str, by: User | None, now: datetime, done: str
) -> None:
    claim.state = state
    claim.save(update_fields=["state", "sent_at", "answer_due_on"])
    _note_step(claim, state, words, by, now, done)


def _note_step(
    claim: WarrantyClaim, state: str, words: str, by: User | None, now: datetime, done: str
) -> None:
    ClaimStep.objects.create(
        claim=claim, state=state, words=_told(words, "words"), made_at=now, made_by=by
    )
    _log(claim, by, "warranty claim", done, now)


def _log(claim: WarrantyClaim, by: User | None, verb: str, text: str, now: datetime) -> None:
    parties = [claim.agency] if claim.sent_at is None else [claim.agency, claim.shop]
    for party in parties:
        log(
            organisation=party,
            actor=by,
            verb=verb,
            text=f"Warranty claim {claim.number} of {claim.agency} {text}",
            at=now,
        )


def _told(words: str, what: str) -> str:
    told = words.strip()
    if len(told) > MOST_LETTERS:
        msg = f"The {what} have {len(told):,} letters; write up to {MOST_LETTERS:,}."
        raise OutOfRangeError(msg)
    return told


def evidence_rows(face: ClaimFace) -> list[tuple[str, str]]:
    """Return what a claim says of a face as pairs of words."""
    found: dict[str, Any] = face.evidence
    return [(name, value) for name, value in found["rows"]]

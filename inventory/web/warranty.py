"""Warranty: what is promised, which faces fall short, and the claims made for them."""

from __future__ import annotations

import tempfile
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import Count, Prefetch
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.interchange.claim_file import write_claim_csv, write_claim_pdf
from inventory.models import (
    ClaimAnswer,
    ClaimFace,
    Organisation,
    Role,
    WarrantyClaim,
    WarrantyTerm,
)
from inventory.services.warranty.candidates import Candidate, find_candidates
from inventory.services.warranty.claims import (
    MOST_FACES,
    UNDER_WAY,
    accepted_faces,
    answer_claim,
    conditions_of,
    credit_claim,
    credited_faces,
    draft_claim,
    open_conditions,
    pass_claim_on,
    send_claim,
    state_condition,
    taken_by_claims,
    withdraw_claim,
)
from inventory.services.warranty.terms import enter_term
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.warranty_forms import (
    AnswerForm,
    ConditionForm,
    CreditForm,
    NoteForm,
    PassOnForm,
    SendForm,
    TermForm,
    WithdrawForm,
)

if TYPE_CHECKING:
    from django.http import HttpResponse, HttpResponseBase

    from inventory.web.form_fields import TypedForm

FACES_PER_PAGE = 50
LOTS_PER_PAGE = 25
MOST_DIGITS = 18  # of a number that either database keeps
KEPT_IN_MEMORY_BYTES = 2_000_000
State = WarrantyClaim.State


@dataclass
class LotGroup:
    """The candidates of one shop and one lot of sheeting; ``lot`` is empty if not known."""

    shop: Organisation
    lot: str
    candidates: list[Candidate] = field(default_factory=list)

    @property
    def face_count(self) -> int:
        """Return how many faces there are, whatever colours fall short."""
        return len({each.sign.pk for each in self.candidates})

    @property
    def claimable(self) -> int:
        """Return how many colours have no condition that is shown not to be met."""
        return sum(not each.failed for each in self.candidates)

    @property
    def terms(self) -> str:
        """Return the terms they fall under, in words."""
        return "; ".join(sorted({str(each.term) for each in self.candidates}))


@require_safe
@role_required(Role.SHOP, Role.ENGINEER)
def term_list(request: MemberRequest) -> HttpResponse:
    terms = WarrantyTerm.objects.readable_by(request.organisation)
    page = page_of(
        request,
        terms.select_related("organisation")
        .prefetch_related("steps", "initials")
        .order_by("organisation__name", "name", "-version"),
        LOTS_PER_PAGE,
    )
    context = {"page": page, "is_shop": _is_shop(request)}
    return render(request, "inventory/warranty/term_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def term_add(request: MemberRequest) -> HttpResponse:
    """Enter a term, or another version of one."""
    key = request.GET.get("from", "")
    initial: dict[str, Any] = {}
    if key.isdecimal() and len(key) <= MOST_DIGITS:
        own = WarrantyTerm.objects.owned_by(request.organisation)
        old = get_object_or_404(own, pk=int(key))
        initial = TermForm.from_term(old)
    form = TermForm(request.POST or None, initial=initial)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                term = enter_term(
                    shop=request.organisation, content=form.content, by=request.user
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"{term} is entered.")
                return redirect("warranty-term", term.pk)
    return render(request, "inventory/warranty/term_add.html", {"form": form}, status=status)


@require_safe
@role_required(Role.SHOP, Role.ENGINEER)
def term_page(request: MemberRequest, term_id: int) -> HttpResponse:
    readable = WarrantyTerm.objects.readable_by(request.organisation)
    term = get_object_or_404(readable.select_related("organisation", "entered_by"), pk=term_id)
    context = {
        "term": term,
        "steps": term.steps.order_by("until_years"),
        "initials": term.initials.order_by("pk"),
        "is_shop": _is_shop(request),
    }
    return render(request, "inventory/warranty/term_page.html", context)


@require_safe
@role_required(Role.ENGINEER)
def warranty(request: MemberRequest) -> HttpResponse:
    """Show the lots whose faces fall short of what was promised."""
    found = find_candidates(request.organisation, now=timezone.now())
    groups = _groups(_not_taken(request.organisation, found.candidates))
    context = {
        "page": page_of(request, groups, LOTS_PER_PAGE),
        "found": found,
        "faces": sum(each.face_count for each in groups),
        "term_count": WarrantyTerm.objects.readable_by(request.organisation).count(),
    }
    return render(request, "inventory/warranty/warranty.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def warranty_lot(request: MemberRequest, shop_id: int) -> HttpResponse:
    """Show the faces of a lot that fall short, and draft a claim for those ticked."""
    shops = Organisation.objects.filter(customers__agency=request.organisation)
    shop = get_object_or_404(shops, pk=shop_id)
    lot = request.GET.get("lot", "")
    found = find_candidates(request.organisation, now=timezone.now())
    of_lot = [
        each
        for each in _not_taken(request.organisation, found.candidates)
        if each.term.organisation_id == shop.pk and each.lot == lot
    ]
    form = NoteForm(request.POST or None)
    picked, picked_all = set(request.POST.getlist("faces")), not form.is_bound
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                claim = draft_claim(
                    agency=request.organisation,
                    faces=[_key(each) for each in sorted(picked)],
                    by=request.user,
                    **form.cleaned_data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Claim {claim.number} is drafted.")
                return redirect("claim-page", claim.pk)
    page = page_of(request, of_lot, MOST_FACES)
    context = {
        "group": LotGroup(shop, lot, of_lot),
        "page": page,
        "rows": [
            (each, _name(each), not each.failed and (picked_all or _name(each) in picked))
            for each in page
        ],
        "form": form,
    }
    return render(request, "inventory/warranty/warranty_lot.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def claim_list(request: MemberRequest) -> HttpResponse:
    is_shop = _is_shop(request)
    claims = (
        WarrantyClaim.objects.readable_by(request.organisation)
        .select_related("agency", "shop")
        .annotate(face_count=Count("faces__sign", distinct=True))
        .order_by(*(("-sent_at", "-pk") if is_shop else ("-number",)))
    )
    page = page_of(request, claims, LOTS_PER_PAGE)
    context = {"page": page, "is_shop": is_shop}
    return render(request, "inventory/warranty/claim_list.html", context)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def claim_page(request: MemberRequest, claim_id: int) -> HttpResponse:
    claim = _claim_of(request, claim_id)
    statements = list(claim.statements.select_related("stated_by"))
    known = open_conditions(claim)
    page = page_of(request, _faces(claim), FACES_PER_PAGE)
    context = {
        "claim": claim,
        "page": page,
        "rows": [(face, conditions_of(face, statements, claim.agency.day_of)) for face in page],
        "steps": claim.steps.select_related("made_by").order_by("made_at", "pk"),
        "statements": [(known[each.condition], each) for each in statements],
        "credits": claim.credits.select_related("line__order", "credited_by"),
        "accepted": accepted_faces(claim),
        "credited": credited_faces(claim),
        "doings": _doings(request, claim, known),
        "is_shop": _is_shop(request),
    }
    return render(request, "inventory/warranty/claim_page.html", context)


# What is done with a claim: its words on a button, who may, in which states, the words done.
_DOINGS = {
    "send": (
        "Send to the shop",
        Organisation.Kind.AGENCY,
        (State.DRAFT,),
        "The claim is sent.",
    ),
    "state": (
        "State a condition",
        None,
        (State.DRAFT, *UNDER_WAY),
        "What you stated is kept with the claim.",
    ),
    "pass-on": (
        "Passed on to the supplier",
        Organisation.Kind.SHOP,
        (State.SENT,),
        "Noted: the claim is with the supplier.",
    ),
    "answer": ("Answer", Organisation.Kind.SHOP, UNDER_WAY, "The answer is kept."),
    "credit": (
        "Credit on an order line",
        Organisation.Kind.SHOP,
        (State.ANSWERED,),
        "The credit is on the order line.",
    ),
    "withdraw": (
        "Withdraw",
        Organisation.Kind.AGENCY,
        (State.DRAFT, *UNDER_WAY),
        "The claim is withdrawn.",
    ),
}


def _doings(
    request: MemberRequest, claim: WarrantyClaim, known: dict[str, str]
) -> list[tuple[str, str]]:
    """Return what the reader may do with a claim now, with the words on the button."""
    found = []
    for name, (words, party, states, _done) in _DOINGS.items():
        if claim.state not in states or party not in (None, request.organisation.kind):
            continue
        if name == "state" and not known:
            continue
        if name == "credit" and accepted_faces(claim) <= credited_faces(claim):
            continue
        found.append((name, words))
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER, Role.SHOP)
def claim_do(request: MemberRequest, claim_id: int, doing: str) -> HttpResponse:
    """Take one step with a claim."""
    claim = _claim_of(request, claim_id)
    words, party, _states, done = _DOINGS[doing]
    if party not in (None, request.organisation.kind):
        raise Http404
    form = _form_of(doing, claim, request)
    faces = list(_faces(claim)) if doing == "answer" else []
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                _do(doing, claim, form, request)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, done)
                return redirect("claim-page", claim.pk)
    context = {
        "claim": claim,
        "doing": doing,
        "words": words,
        "form": form,
        "rows": [
            (
                face,
                request.POST.get(f"answer_{face.pk}", ""),
                request.POST.get(f"why_{face.pk}", ""),
            )
            for face in faces
        ],
        "left": accepted_faces(claim) - credited_faces(claim),
    }
    return render(request, "inventory/warranty/claim_do.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def claim_file(request: MemberRequest, claim_id: int, kind: str) -> HttpResponseBase:
    """Send the claim file: its PDF for reading, its CSV for reckoning."""
    claim = _claim_of(request, claim_id)
    stream = tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY_BYTES)  # noqa: SIM115
    faces = list(_faces(claim))
    statements = list(claim.statements.select_related("stated_by"))
    name = f"warranty-claim-{claim.number}.{kind}"
    if kind == "csv":
        write_claim_csv(stream, claim, faces, statements)
        content_type = "text/csv; charset=utf-8"
    else:
        made_at = request.organisation.clock_words(timezone.now())
        foot = f"Warranty claim {claim.number} of {claim.agency}, {made_at}"
        write_claim_pdf(stream, claim, faces, statements, foot=foot)
        content_type = "application/pdf"
    stream.seek(0)
    return FileResponse(
        stream, filename=name, as_attachment=kind == "csv", content_type=content_type
    )


def _form_of(doing: str, claim: WarrantyClaim, request: MemberRequest) -> TypedForm:
    data = request.POST or None
    if doing == "state":
        return ConditionForm(open_conditions(claim), data)
    if doing == "credit":
        return CreditForm(claim, data)
    kinds: dict[str, type[TypedForm]] = {
        "send": SendForm,
        "pass-on": PassOnForm,
        "answer": AnswerForm,
        "withdraw": WithdrawForm,
    }
    return kinds[doing](data)


def _do(doing: str, claim: WarrantyClaim, form: TypedForm, request: MemberRequest) -> None:
    data = form.cleaned_data
    by = request.user
    if doing == "send":
        send_claim(claim=claim, by=by, **data)
    elif doing == "pass-on":
        pass_claim_on(claim=claim, by=by, **data)
    elif doing == "withdraw":
        withdraw_claim(claim=claim, by=by, **data)
    elif doing == "credit":
        credit_claim(claim=claim, by=by, **data)
    elif doing == "state":
        state_condition(
            claim=claim,
            condition=data["condition"],
            is_met=data["is_met"] == "yes",
            words=data["words"],
            by=by,
        )
    else:
        answers = {}
        for key in claim.faces.values_list("pk", flat=True):
            said = request.POST.get(f"answer_{key}", "")
            if said in ("accepted", "refused"):
                answers[key] = said == "accepted", request.POST.get(f"why_{key}", "")
        answer_claim(claim=claim, answers=answers, by=by, **data)


def _claim_of(request: MemberRequest, claim_id: int) -> WarrantyClaim:
    claim: WarrantyClaim = get_object_or_404(
        WarrantyClaim.objects.readable_by(request.organisation).select_related(
            "agency", "shop"
        ),
        pk=claim_id,
    )
    return claim


def _faces(claim: WarrantyClaim) -> Any:
    """Return the faces of a claim with their terms and answers."""
    return (
        claim.faces.select_related("sign", "term")
        .prefetch_related(
            "term__steps",
            "term__initials",
            Prefetch("answer", ClaimAnswer.objects.order_by("pk")),
        )
        .order_by("sign", "color")
    )


def _not_taken(agency: Organisation, candidates: list[Candidate]) -> list[Candidate]:
    """Leave out colours of faces that are in a claim under way, or were accepted."""
    taken = set(
        ClaimFace.objects.filter(taken_by_claims(agency)).values_list("sign_id", "color")
    )
    return [each for each in candidates if (each.sign.pk, each.color) not in taken]


def _groups(candidates: list[Candidate]) -> list[LotGroup]:
    """Return candidates by shop and lot, the largest group first."""
    by_lot: dict[tuple[int, str], list[Candidate]] = defaultdict(list)
    for each in candidates:
        by_lot[each.term.organisation_id, each.lot].append(each)
    groups = [
        LotGroup(some[0].term.organisation, lot, some) for (_shop, lot), some in by_lot.items()
    ]
    return sorted(groups, key=lambda one: (-one.face_count, one.shop.name, one.lot))


def _name(each: Candidate) -> str:
    return f"{each.sign.pk}:{each.color}"


def _key(name: str) -> tuple[int, str]:
    sign, _, color = name.partition(":")
    is_key = sign.isdecimal() and len(sign) <= MOST_DIGITS
    return (int(sign) if is_key else 0), color


def _is_shop(request: MemberRequest) -> bool:
    return request.organisation.kind == Organisation.Kind.SHOP

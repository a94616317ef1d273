"""The engineer's first page: what needs me today."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.models import Role
from inventory.services.damage_lists import clock_of
from inventory.services.marks import MARK_OF_VERDICT, MARKS
from inventory.services.overview import overview
from inventory.services.sign_faces import local_types_of
from inventory.web.filters import SAFETY_CLASSES
from inventory.web.lot_plots import FindingWords
from inventory.web.membership import MemberRequest, role_required

if TYPE_CHECKING:
    from django.http import HttpResponse

MEANING_OF_MARK = {
    "meets": "The mean of the readings is at or above the published level.",
    "due-soon": "It meets its level, but is expected to be below it within the months set.",
    "due": "It meets its level, but something else makes it due; the page says what.",
    "below": "The mean of the readings is below the published level.",
    "undecided": "The rows that could apply disagree; something has to be known first.",
    "no-usable-reading": "There is a level, but no reading that may be held against it.",
    "no-level": "The manual prints no level for these colours.",
    "sheeting-not-allowed": "The manual forbids this sheeting for this colour.",
    "excluded": "The agency leaves this kind of sign out, as the manual lets it.",
}
WORDS = (
    ("face", "One physical sign: one piece of sheeting on its blank."),
    ("position", "A place for one sign on a support; faces come and go, the position stays."),
    ("support", "A post, pole or structure that holds one or more signs."),
    ("level", "The least retroreflectivity a face must keep, as the manual prints it."),
    ("reading", "One measured coefficient of retroreflection of one colour, in cd/lx/m²."),
    ("due", "To be dealt with: below its level, badly damaged, or past its date."),
    (
        "damage now",
        "A sign bent, hidden, down or missing, with a clock from the day the agency was told.",
    ),
    (
        "due date",
        "The day by which the chance that a face is below its level reaches the share in your "
        "rules, by the readings of all faces like it.",
    ),
    ("cohort", "Faces of the same sheeting, colour and make; they tell of each other."),
    ("safety class", "The order in which signs are looked after, 1 first."),
    (
        "lot and run",
        "The batch of sheeting a face was cut from, and the printing it came out of.",
    ),
    ("suspect lot", "A lot whose faces lose R_A faster than those of ordinary lots."),
)


@require_safe
@role_required(Role.ENGINEER)
def overview_page(request: MemberRequest) -> HttpResponse:
    seen = overview(organisation=request.organisation)
    context = {
        "seen": seen,
        "standing_counts": [
            (mark, seen.count_of_verdict[verdict.value])
            for verdict, mark in MARK_OF_VERDICT.items()
        ],
        "due_counts": [
            (number, words, seen.due_count_of_class[number]) for number, words in SAFETY_CLASSES
        ],
        "damage": [
            (each, clock_of(each, timezone.localdate())) for each in seen.damage.first_few
        ],
        "suspect_lots": [FindingWords(each) for each in seen.suspect_lots.first_few],
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/assessment/overview.html", context)


@require_safe
@role_required()
def help_page(request: MemberRequest) -> HttpResponse:
    context = {
        "mark_meanings": [(mark, MEANING_OF_MARK[mark.key]) for mark in MARKS],
        "words": WORDS,
    }
    return render(request, "inventory/people/help.html", context)

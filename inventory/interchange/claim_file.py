"""A warranty claim as files: a PDF to read and sign, a CSV to reckon with."""

from __future__ import annotations

import csv
from collections import Counter
from io import BytesIO, TextIOWrapper
from typing import IO, TYPE_CHECKING, Any

from reportlab.lib.units import inch
from reportlab.platypus import Image, KeepTogether, PageBreak, Spacer

from inventory.engineering.production.warranty import Shown
from inventory.interchange.pdf_pages import head, table, tables, text, write_pdf
from inventory.models import Photo
from inventory.services.photos import small_photo
from inventory.services.warranty.claims import conditions_of, evidence_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import date, datetime

    from reportlab.platypus import Flowable

    from inventory.engineering.production.warranty import Condition
    from inventory.models import ClaimFace, ClaimStatement, WarrantyClaim, WarrantyTerm

PHOTO_WIDTH_IN = 2.2
PICTURE_SIDE_PX = 640
PICTURES = 2  # of a face; further photos are named
HEADS = (
    *("claim", "state", "sign", "label", "sign_code", "color", "lot", "term"),
    *("initial_ra_cd_lx_m2", "retained_share", "until_years", "promised_ra_cd_lx_m2"),
    *("mean_ra_cd_lx_m2", "uncertainty_cd_lx_m2", "read_on", "conditions_met"),
    *("conditions_failed", "conditions_unknown", "answer", "answer_words"),
)


def write_claim_csv(
    stream: IO[bytes],
    claim: WarrantyClaim,
    faces: Sequence[ClaimFace],
    statements: Sequence[ClaimStatement],
) -> None:
    """Write a row for each colour of a face, UTF-8, RFC 4180."""
    out = TextIOWrapper(stream, encoding="utf-8", newline="")
    writer = csv.writer(out)
    writer.writerow(HEADS)
    day_of = claim.agency.day_of
    for face in faces:
        figures: dict[str, Any] = face.evidence["figures"]
        conditions = conditions_of(face, statements, day_of)
        by_shown = {
            shown: "; ".join(each.words for each in conditions if each.shown is shown)
            for shown in Shown
        }
        answer = getattr(face, "answer", None)
        said = ""
        if answer is not None:
            said = "accepted" if answer.is_accepted else "refused"
        writer.writerow(
            [
                claim.number,
                claim.get_state_display(),
                face.sign_id,
                face.sign.label_id or "",
                _cell(f"{face.sign.sign_code}{face.sign.variant}"),
                face.color,
                _cell(claim.lot),
                _cell(str(face.term)),
                figures["initial_ra_cd_lx_m2"],
                figures["retained_share"],
                figures["until_years"],
                figures["promised_ra_cd_lx_m2"],
                figures["mean_ra_cd_lx_m2"],
                figures["uncertainty_cd_lx_m2"],
                figures["read_on"],
                by_shown[Shown.MET],
                by_shown[Shown.FAILED],
                by_shown[Shown.UNKNOWN],
                said,
                _cell("" if answer is None else answer.words),
            ]
        )
    out.flush()
    out.detach()


def write_claim_pdf(
    stream: IO[bytes],
    claim: WarrantyClaim,
    faces: Sequence[ClaimFace],
    statements: Sequence[ClaimStatement],
    *,
    foot: str,
) -> None:
    """Write the whole claim: faces, terms word for word, readings, production, photos."""
    write_pdf(
        stream,
        _story(claim, faces, statements),
        title=f"Warranty claim {claim.number}",
        author=str(claim.agency),
        subject=f"Faces made by {claim.shop}",
        foot=foot,
    )


def _story(
    claim: WarrantyClaim, faces: Sequence[ClaimFace], statements: Sequence[ClaimStatement]
) -> Iterator[Flowable]:
    yield text(f"Warranty claim {claim.number}", 15, bold=True)
    yield text(f"{claim.agency} to {claim.shop}: {claim.get_state_display()}")
    lot = f"sheeting lot {claim.lot}" if claim.lot else "sheeting lot not known"
    signs = len({face.sign_id for face in faces})
    yield text(f"{signs} faces, {len(faces)} of their colours, {lot}.")
    if claim.note:
        yield text(claim.note)
    if claim.answer_due_on is not None:
        yield text(f"An answer is expected by {claim.answer_due_on:%Y-%m-%d}.")
    yield from head("Steps")
    yield table(
        ("Step", "When", "By", "Words"),
        [
            (
                step.get_state_display(),
                claim.agency.clock_words(step.made_at),
                str(step.made_by) if step.made_by else "not known",
                step.words,
            )
            for step in claim.steps.select_related("made_by")
        ],
        (1.5, 1.5, 1.3, 2.7),
    )
    yield from head("Faces")
    yield from tables(
        ("Sign", "Colour", "Read on", "Promised", "Read", "± (95 %)", "Answer"),
        [_face_row(face) for face in faces],
        (2.3, 0.8, 0.9, 0.8, 0.7, 0.7, 0.8),
        right=(3, 4, 5),
    )
    yield text("R_A in cd/lx/m² at 0.2° and −4.0°.", 8, soft=True)
    day_of = claim.agency.day_of
    conditions = [conditions_of(face, statements, day_of) for face in faces]
    yield from _conditions(conditions)
    for term in {face.term_id: face.term for face in faces}.values():
        yield from _term(term)
    pictured: set[int] = set()
    for face, shown in zip(faces, conditions, strict=True):
        yield PageBreak()
        yield from _face(face, shown, day_of, has_pictures=face.sign_id not in pictured)
        pictured.add(face.sign_id)


def _face_row(face: ClaimFace) -> tuple[str, ...]:
    figures: dict[str, Any] = face.evidence["figures"]
    answer = getattr(face, "answer", None)
    said = "not yet"
    if answer is not None:
        said = "accepted" if answer.is_accepted else f"refused: {answer.words}"
    label = f" {face.sign.label_id}" if face.sign.label_id else f" no. {face.sign_id}"
    return (
        f"{face.sign.sign_code}{face.sign.variant}{label}",
        face.color.replace("-", " "),
        figures["read_on"],
        figures["promised_ra_cd_lx_m2"],
        figures["mean_ra_cd_lx_m2"],
        f"{figures['uncertainty_cd_lx_m2']:.1f}",
        said,
    )


def _conditions(shown: Iterable[tuple[Condition, ...]]) -> Iterator[Flowable]:
    """Give how often each condition is met, failed or not known."""
    counts: dict[str, Counter[Shown]] = {}
    for of_face in shown:
        for each in of_face:
            counts.setdefault(each.words, Counter())[each.shown] += 1
    yield from head("Conditions")
    yield table(
        ("Condition", "Met", "Not met", "Not known"),
        [
            (
                words,
                str(count[Shown.MET]),
                str(count[Shown.FAILED]),
                str(count[Shown.UNKNOWN]),
            )
            for words, count in counts.items()
        ],
        (4.6, 0.8, 0.8, 0.8),
        right=(1, 2, 3),
    )


def _term(term: WarrantyTerm) -> Iterator[Flowable]:
    yield from head(f"Term: {term}")
    yield text(
        f"Faces made from {term.made_from_on:%Y-%m-%d} on, Type {term.sheeting_type}, "
        f"{term.get_colouring_display()}, {term.get_overlay_display()}; the years run from "
        f"{term.get_starts_display()}. Initial values: {term.initial_basis}: "
        + ", ".join(str(each) for each in term.initials.all())
        + "."
    )
    yield table(
        ("Until year", "Share kept", "Otherwise due"),
        [
            (str(step.until_years), step.share_words, step.remedy)
            for step in sorted(term.steps.all(), key=lambda each: each.until_years)
        ],
        (1.0, 1.0, 5.0),
    )
    yield text("The supplier's own text:", bold=True)
    for paragraph in term.supplier_text.splitlines():
        if paragraph.strip():
            yield text(paragraph, 8.5)


def _face(
    face: ClaimFace,
    conditions: tuple[Condition, ...],
    day_of: Callable[[datetime], date],
    *,
    has_pictures: bool,
) -> Iterator[Flowable]:
    """Give all of a colour of a face; its pictures once, however many colours are claimed."""
    yield text(f"{face.sign.sign_code}{face.sign.variant}, {face.color}", 12, bold=True)
    yield table((), evidence_rows(face), (1.6, 5.4), bold_first=True)
    yield from head("Conditions")
    yield table(
        ("Condition", "Shown", "By"),
        [(each.words, each.shown.words, each.why) for each in conditions],
        (3.0, 0.8, 3.2),
    )
    yield from head("How it was made")
    rows = [(name, value) for name, value in face.evidence["production"]]
    yield table((), rows, (1.9, 5.1), bold_first=True)
    photos = face.evidence["photos"]
    if not photos:
        yield text("No photo of it is on record.", soft=True)
        return
    yield from head("Photos")
    if not has_pictures:
        yield text("As shown with the other colour of this face.", soft=True)
        return
    shown = [key for key, _sha256 in photos[:PICTURES]]
    for photo in Photo.objects.filter(pk__in=shown).order_by("-recorded_at", "-pk"):
        yield from _photo(photo, day_of)
    for key, sha256 in photos[PICTURES:]:
        yield text(f"Photo {key}, not printed here; SHA-256 {sha256}", 7.5, soft=True)


def _photo(photo: Photo, day_of: Callable[[datetime], date]) -> Iterator[Flowable]:
    taken = f", taken {day_of(photo.taken_at):%Y-%m-%d}" if photo.taken_at else ""
    drawn = ", drawn for an invented scenario" if photo.is_drawn else ""
    words = text(f"Photo {photo.pk}{taken}{drawn}; SHA-256 {photo.sha256}", 7.5, soft=True)
    try:
        small = small_photo(photo, PICTURE_SIDE_PX)
        picture = Image(BytesIO(small), width=PHOTO_WIDTH_IN * inch, lazy=0)
        picture.drawHeight = picture.imageHeight * picture.drawWidth / picture.imageWidth
    except OSError:
        yield text(f"Photo {photo.pk} could not be read from storage.", 8)
        return
    yield KeepTogether([picture, words, Spacer(1, 6)])


def _cell(words: str) -> str:
    """Return typed words so that no program for tables takes them for a formula."""
    return f"'{words}" if words[:1] in ("=", "+", "-", "@", "\t", "\r") else words

"""A legend of its own is laid out only once the agency has approved the proof's very bytes."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LayoutPlan, Proof, Role
from inventory.services.ordering import cancel_order
from inventory.services.ordering.layouts.freezing import freeze_plan
from inventory.services.ordering.layouts.making import Asked, free_lines, make_plan
from inventory.services.ordering.proofs import decide_proof, send_proof, why_not_made
from inventory.services.production import record_press_event
from tests.factories import NOW, make_agency, make_person, print_order
from tests.services.layouts.worlds import KIND, RULES, laid_out, make_world

pytestmark = pytest.mark.django_db
PICTURE = b"%PDF-1.7 a proof"


@pytest.fixture(autouse=True)
def _files(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def world(db):
    world = make_world(signs=3)
    world.order.lines.filter(number=2).update(is_custom_legend=True, legend_text="Ferry Rd")
    return world


@pytest.fixture
def line(world):
    return world.order.lines.get(number=2)


def sent(line, **more):
    asked = {"content": PICTURE, "file_name": "ferry.pdf", "legend_text": "Ferry Rd"}
    return send_proof(line=line, now=NOW, **asked | more)


def test_a_line_waits_for_its_proof_and_the_others_do_not(world, line):
    assert why_not_made(world.order.lines.all()).keys() == {line.pk}
    plan = laid_out(world)
    assert {face.line.number for face in plan.faces.all()} == {1, 3}
    asked = {"asked": {line.pk: Asked(1)}, "press": world.press, "rolls": [world.roll]}
    with pytest.raises(StateConflictError, match="send a proof, and wait"):
        make_plan(order=world.order, rules=RULES, now=NOW, **asked, **KIND)
    proof = sent(line)
    assert proof.sha256 == hashlib.sha256(PICTURE).hexdigest()
    assert proof.file.open("rb").read() == PICTURE
    assert "is not approved yet" in why_not_made([line])[line.pk]
    decide_proof(proof=proof, is_approved=True, now=NOW)
    assert why_not_made([line]) == {}
    assert [each.why_not for each in free_lines(world.order, **KIND)] == ["", "", ""]
    assert laid_out(world).faces.count() == 3


def test_what_is_sent_back_takes_another_proof(line):
    first = sent(line, legend_text="Fery Rd")
    with pytest.raises(OutOfRangeError, match="Say what is wrong"):
        decide_proof(proof=first, is_approved=False, now=NOW)
    decide_proof(proof=first, is_approved=False, words="two r", now=NOW)
    assert "was sent back" in why_not_made([line])[line.pk]
    with pytest.raises(StateConflictError, match="decided already"):
        decide_proof(proof=first, is_approved=True, now=NOW)
    second = sent(line)
    with pytest.raises(StateConflictError, match="replaced by a newer one"):
        decide_proof(proof=first, is_approved=True, now=NOW)
    decide_proof(proof=second, is_approved=True, now=NOW)
    # A proof sent after the approval has the last word until it is decided.
    sent(line)
    assert "Proof 3" in why_not_made([line])[line.pk]


def test_an_approved_proof_of_another_legend_does_not_do(line):
    decide_proof(proof=sent(line, legend_text="Ferry Ln"), is_approved=True, now=NOW)
    assert "the approved proof says “Ferry Ln”" in why_not_made([line])[line.pk]


def test_a_layout_whose_proof_was_taken_back_is_not_frozen(world, line):
    decide_proof(proof=sent(line), is_approved=True, now=NOW)
    plan = laid_out(world)
    sent(line)
    with pytest.raises(StateConflictError, match="is not approved yet"):
        freeze_plan(plan=plan, now=NOW)
    assert LayoutPlan.objects.get(pk=plan.pk).state == "draft"


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"content": b"<svg onload=alert()>"}, "is no PDF, PNG or JPEG"),
        ({"content": b"%PDF" + b"x" * 20_000_000}, "up to 20 MB"),
        ({"legend_text": " "}, "letter for letter"),
        ({"legend_text": "x" * 256}, "it has 256"),
    ],
)
def test_what_is_no_proof_is_refused(line, changed, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        sent(line, **changed)
    assert not Proof.objects.exists()


def test_a_standard_legend_needs_no_proof(world):
    with pytest.raises(StateConflictError, match="needs no proof"):
        sent(world.order.lines.get(number=1))


def test_proofs_on_the_pages_of_both_parties(client, world, line, tmp_path):
    address = reverse("line-proofs", args=[world.order.pk, line.pk])
    shop = make_person(world.shop, Role.SHOP)
    engineer = make_person(world.agency, Role.ENGINEER)
    client.force_login(shop)
    assert address in client.get(reverse("order-page", args=[world.order.pk])).content.decode()
    assert client.post(address, {"legend_text": "Ferry Rd"}).status_code == 400
    file = tmp_path / "ferry.pdf"
    file.write_bytes(PICTURE)
    with file.open("rb") as opened:
        answer = client.post(address, {"file": opened, "legend_text": "Ferry Rd"})
    assert answer.status_code == 302
    proof = Proof.objects.get()
    assert "waits for the agency" in client.get(address).content.decode()
    client.force_login(engineer)
    page = client.get(address).content.decode()
    assert "Approve proof 1" in page
    told = client.get(reverse("proof-file", args=[proof.pk]))
    assert b"".join(told) == PICTURE
    assert told["X-Content-Type-Options"] == "nosniff"
    assert "attachment" in told["Content-Disposition"]
    back = client.post(address, {"proof": proof.pk, "decision": "back", "words": ""})
    assert back.status_code == 400
    approved = client.post(address, {"proof": proof.pk, "decision": "approve", "words": ""})
    assert approved.status_code == 302
    assert "may be laid out" in client.get(address).content.decode()
    client.force_login(make_person(make_agency(), Role.ENGINEER))
    assert client.get(address).status_code == 404
    assert client.get(reverse("proof-file", args=[proof.pk])).status_code == 404


def test_a_run_does_not_print_what_is_not_approved(world, line):
    roll_on(world)
    with pytest.raises(StateConflictError, match="send a proof, and wait"):
        print_order(world.order, world.press, line_quantities={line.pk: 1})
    # Everything that is left: what waits for its proof is not among it.
    run = print_order(world.order, world.press)
    assert run.signs.count() == 2
    decide_proof(proof=sent(line), is_approved=True, now=NOW)
    later = NOW + timedelta(hours=1)
    assert print_order(world.order, world.press, now=later).signs.count() == 1


def test_a_proof_of_an_order_that_is_over_is_not_decided(world, line):
    proof = sent(line)
    cancel_order(order=world.order, reason="not needed", now=NOW)
    with pytest.raises(StateConflictError, match="its proofs stay as is"):
        decide_proof(proof=proof, is_approved=True, now=NOW)


def roll_on(world):
    record_press_event(
        press=world.press,
        kind="roll_loaded",
        roll=world.roll,
        happened_at=NOW - timedelta(hours=2),
        now=NOW,
    )

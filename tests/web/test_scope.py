"""
Every address of the site, whoever wrote it: who may open it, and who is told it is not there.

Walks the addresses themselves, so that a new page is tested the day it is added.
"""

import re
import uuid
from io import BytesIO
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from PIL import Image

from inventory.models import (
    Blank,
    ImportRun,
    ImportSettlement,
    LabelBatch,
    LayoutPlan,
    OrderLine,
    OrderQuestion,
    Proof,
    Role,
    ShopStep,
    Sign,
    SourceRecord,
    WarrantyTerm,
)
from inventory.services.damage import Told, report_damage
from inventory.services.inspection import ReadingSetInput, record_inspection, store_photo
from inventory.services.merging import merge_signs, merge_supports
from inventory.services.methods import create_group
from inventory.services.refusals import keep_refused
from inventory.services.work_packages import WantedStop, hand_out, make_package
from inventory.services.wrong_data import flag_wrong_data
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_lot_finding,
    make_person,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    position_of,
    print_order,
)
from tests.kept import kept_records
from tests.models.world_of_builds import fill_builds
from tests.models.world_of_layouts import fill_labels, fill_layouts
from tests.models.world_of_order_life import fill_order_life
from tests.models.world_of_presses import fill_press
from tests.models.world_of_warranty import fill_warranty
from tests.services.exchange.phones import Phone
from tests.services.programme.crew_worlds import a_crew_day
from tests.services.test_photo_uploads import make_device
from tests.services.test_photo_uploads import refused as refused_photo
from tests.web.acting import read_reminder
from tests.web.forecast_records import color_of, make_fit, make_forecast
from tests.web.programme_records import make_programme_row, plan

pytestmark = pytest.mark.django_db

# field-theme keeps one of two colour schemes in a cookie and shows no record.
# The field app's shell, worker and manifest hold no record either, and have to open on a
# phone whose session ended; ping says whether the server is there.
OPEN_TO_ANYBODY = {
    "sign-in",
    "sign-out",
    "field-theme",
    "field",
    "field-manifest",
    "field-worker",
    "api-ping",
}
# Asked with the key of a phone, which no session stands for; see tests/api.
BY_A_PHONES_KEY = {"api-operations", "api-photo-upload"}
SIGN_IN = "/sign-in/"


def patterns(resolver=None):
    """Return every named address with the names of its parts."""
    found = []
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            found.extend(patterns(entry))
        elif isinstance(entry, URLPattern) and entry.name:
            found.append((entry.name, tuple(sorted(entry.pattern.converters or regex(entry)))))
    return sorted(set(found))


def regex(entry):
    return re.compile(str(entry.pattern)).groupindex if "(?P" in str(entry.pattern) else ()


ADDRESSES = [(name, parts) for name, parts in patterns() if "format" not in parts]
PAGES = [(n, p) for n, p in ADDRESSES if not n.startswith("api-")]
API = [(n, p) for n, p in ADDRESSES if n.startswith("api-") and n not in OPEN_TO_ANYBODY]
ABOUT_A_RECORD = [(n, p) for n, p in ADDRESSES if p and n not in BY_A_PHONES_KEY]


class World:
    """An agency and its shop with one record of each kind; read by the tests, never changed."""

    def __init__(self):
        self.agency = make_agency("Ours")
        self.shop = make_shop("Our shop", self.agency)
        sign, spare = make_sign(self.agency), make_sign(self.agency)
        inspection = record_inspection(
            sign=sign,
            taken_at=NOW,
            how="hand_held",
            reading_sets=[ReadingSetInput("white", ["40"])],
            now=NOW,
        )
        file = BytesIO()
        Image.new("RGB", (8, 8)).save(file, "PNG")
        photo = store_photo(sign=sign, content=file.getvalue(), now=NOW)
        roll = make_roll(self.shop)
        press = make_press(self.shop, roll)
        order = make_released_order(self.agency, self.shop, [sign])
        print_run = print_order(order, press)
        printed = Sign.objects.get(state=Sign.State.IN_STOCK)
        open_order = make_released_order(self.agency, self.shop, [spare])
        line = OrderLine.objects.get(order=open_order)
        line.artwork.save("bar.svg", ContentFile(b"<svg/>"))
        import_run = ImportRun.objects.create(
            organisation=self.agency,
            source_name="list",
            file_name="signs.csv",
            file_sha256="0" * 64,
            mapping_text="",
            started_at=NOW,
        )
        record = SourceRecord.objects.create(
            organisation=self.agency,
            source_name="list",
            external_id="1",
            raw={},
            row_sha256="0" * 64,
            first_run=import_run,
            last_run=import_run,
            changed_at=NOW,
        )
        settlement = ImportSettlement.objects.create(
            run=import_run, record=record, changes={}, reason="Newer."
        )
        instrument = make_instrument(self.agency)
        entry = keep_refused(
            organisation=self.agency,
            channel="api",
            kind="inspection",
            payload={},
            sentence="The inspection says nothing.",
            now=NOW,
        )
        group = create_group(
            organisation=self.agency,
            name="measured signs",
            method="measured",
            started_on=NOW.date(),
            basis="county board",
            interval_months=24,
            now=NOW,
        )
        package = make_package(
            organisation=self.agency,
            title="Our round",
            work_on=NOW.date(),
            stops=[WantedStop(position_of(sign), "read")],
            now=NOW,
        )
        hand_out(package=package, now=NOW)
        twice, once_more = make_sign(self.agency), make_sign(self.agency)
        flag = flag_wrong_data(sign=twice, field="size", said="it is 36 in", now=NOW)
        phone = Phone(self.agency)
        phone.note(twice)
        phone.send()
        merged = {
            "undo-sign-merge": merge_signs(
                kept=twice, duplicate=once_more, reason="one", now=NOW
            ),
            "undo-support-merge": merge_supports(
                kept=position_of(twice).support,
                duplicate=position_of(once_more).support,
                reason="one",
                now=NOW,
            ),
        }
        damage = report_damage(
            position=position_of(spare),
            told=Told(kind="bent", channel="desk", severity=2),
            now=NOW,
        )
        upload = refused_photo(make_device(self.agency))
        fit = make_fit(self.agency)
        make_forecast(sign, [color_of(fit)])
        programme = make_programme_row(self.agency)
        other = make_programme_row(self.agency, "Another")
        planned = plan(programme, sign, 2027)
        crew_day = a_crew_day(planned)
        fill_layouts(print_run)
        fill_labels(print_run)
        fill_press(press)
        batch = LabelBatch.objects.get(organisation=self.shop)
        layout = LayoutPlan.objects.get(order=order)
        fill_order_life(order, printed)
        claim = fill_warranty(order, printed)
        question = OrderQuestion.objects.get(order=order)
        proof = Proof.objects.get(line__order=order)
        proof.file.storage.save("proofs/1.pdf", ContentFile(b"%PDF"))
        self.parts = {
            "plan_id": layout.pk,
            "proof_id": proof.pk,
            "claim_id": claim.pk,
            "term_id": WarrantyTerm.objects.get(organisation=self.shop).pk,
            "shop_id": self.shop.pk,
            "doing": "state",
            "build_id": fill_builds(self.shop).pk,
            "step_id": ShopStep.objects.get(organisation=self.shop).pk,
            "blank_id": Blank.objects.get(organisation=self.shop).pk,
            "shipment_id": order.shipments.get().pk,
            "batch_id": batch.pk,
            "label": printed.label_id,
            "sheeting_type": roll.sheeting_type,
            "optics": roll.optics,
            "upload_id": upload.pk,
            "damage_id": damage.pk,
            "flag_id": flag.pk,
            "device_id": phone.device.pk,
            "operation_id": phone.device.operations.get().pk,
            "group_id": group.pk,
            "package_id": package.pk,
            "stop_id": package.stops.get().pk,
            "photo_uuid": uuid.uuid4(),
            "sign_id": sign.pk,
            "photo_id": photo.pk,
            "order_id": open_order.pk,
            "line_id": line.pk,
            "press_id": press.pk,
            "channel_id": press.ink_channels.get().pk,
            "task_id": press.tasks.get().pk,
            "shelf": "rolls",
            "stock_id": roll.pk,
            "roll_id": roll.pk,
            "position_id": sign.position_id,
            "run_id": print_run.pk,
            "settlement_id": settlement.pk,
            "instrument_id": instrument.pk,
            "entry_id": entry.pk,
            "fit_id": fit.pk,
            "programme_id": programme.pk,
            "other_id": other.pk,
            "planned_id": planned.pk,
            "year": 2027,
            "crew_id": crew_day.crew_id,
            "number": crew_day.number,
            "finding_id": make_lot_finding(self.agency, maker=self.shop).pk,
            "kind": "roll_loaded",
        }
        self.parts_of_address: dict[str, dict[str, Any]] = {
            "claim-file": {"claim_id": claim.pk, "kind": "csv"},
            "order-answer": {"order_id": order.pk, "question_id": question.pk},
            "layout-run": {"plan_id": layout.pk, "number": 1},
            "import-page": {"run_id": import_run.pk},
            "settle": {"run_id": import_run.pk},
            "face-spoilt": {"sign_id": printed.pk},
            "face-check": {"sign_id": printed.pk},
            "face-steps": {"sign_id": printed.pk},
            "merge-signs": {"kept_id": twice.pk, "duplicate_id": once_more.pk},
            "merge-supports": {
                "kept_id": position_of(twice).support_id,
                "duplicate_id": position_of(once_more).support_id,
            },
            **{name: {"merge_id": merge.pk} for name, merge in merged.items()},
            "api-sign-detail": {"pk": sign.pk},
            "api-inspection-detail": {"pk": inspection.pk},
            "api-order-detail": {"pk": open_order.pk},
            "api-order-accept": {"pk": order.pk},
            "api-order-ask": {"pk": order.pk},
            "api-order-ship": {"pk": order.pk},
            "api-questions": {"pk": order.pk},
            "api-answer": {"pk": order.pk, "question_id": question.pk},
            "api-shipments": {"pk": order.pk},
            "api-shipment-faces": {"pk": order.shipments.get().pk},
            "api-shipment-receive": {"pk": order.shipments.get().pk},
            "api-cohort-detail": {"pk": fit.pk},
            "api-lot-detail": {"pk": self.parts["finding_id"]},
            "api-programme-detail": {"pk": programme.pk},
            "api-programme-step": {"pk": programme.pk},
            "api-instrument-detail": {"pk": instrument.pk},
            "api-instrument-checks": {"pk": instrument.pk},
        }

    def address(self, name, parts):
        known = self.parts | self.parts_of_address.get(name, {})
        missing = [part for part in parts if part not in known]
        assert not missing, f"{name} has parts this test does not know: {missing}"
        return reverse(name, kwargs={part: known[part] for part in parts})


@pytest.fixture(scope="module")
def made_once(django_db_setup, django_db_blocker):
    """The world, made once: each address is asked of it, and what that changed taken back."""
    with kept_records(django_db_blocker):
        yield World()


@pytest.fixture
def world(made_once, db):
    return made_once


def act(client, organisation):
    """Act as the one who may do most there, the day's roadside reminder read."""
    client.force_login(make_person(organisation, Role.ADMINISTRATOR))
    read_reminder(client)


def ask(client, address):
    """Ask by GET, or by POST where the address takes nothing else."""
    answer = client.get(address)
    return client.post(address) if answer.status_code == 405 else answer


def test_the_addresses_were_found():
    names = {name for name, _parts in ADDRESSES}
    assert {"sign-page", "order-page", "near-me", "api-sign-list", "api-sign-detail"} <= names


@pytest.mark.parametrize(("name", "parts"), PAGES, ids=[name for name, _ in PAGES])
def test_a_stranger_is_sent_to_sign_in_first(client, world, name, parts):
    address = world.address(name, parts)
    answer = ask(client, address)
    if name in OPEN_TO_ANYBODY:
        assert answer.status_code in (200, 302, 400)
    else:
        assert answer.status_code == 302
        assert answer.url.startswith(SIGN_IN)
        assert "next=" in answer.url


@pytest.mark.parametrize(("name", "parts"), API, ids=[name for name, _ in API])
def test_the_api_tells_a_stranger_nothing(client, world, name, parts):
    answer = client.get(world.address(name, parts))
    assert answer.status_code == (401 if name in BY_A_PHONES_KEY else 403)
    assert "not_authenticated" in answer.content.decode()


@pytest.mark.parametrize(
    ("name", "parts"), ABOUT_A_RECORD, ids=[name for name, _ in ABOUT_A_RECORD]
)
def test_a_record_is_there_for_its_parties_and_for_nobody_else(client, world, name, parts):
    address = world.address(name, parts)
    for_parties = set()
    for party in (world.agency, world.shop):
        act(client, party)
        for_parties.add(ask(client, address).status_code)
    assert for_parties - {403, 404}, f"nobody can open {address}: {for_parties}"
    for_others = set()
    for other in (make_agency("Others"), make_shop("Other shop")):
        act(client, other)
        for_others.add(ask(client, address).status_code)
    # 403 to the wrong role; the right role of somebody else reads that there is none.
    assert for_others <= {403, 404}
    assert 404 in for_others


@pytest.mark.parametrize(
    ("name", "parts"),
    [(n, p) for n, p in ADDRESSES if not p and n not in OPEN_TO_ANYBODY],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_no_list_shows_a_record_of_somebody_else(client, world, name, parts):
    address = world.address(name, parts)
    other = (
        make_agency("Others")
        if not name.startswith(("press", "stock"))
        else make_shop("Others")
    )
    act(client, other)
    answer = ask(client, address)
    assert answer.status_code < 500
    if hasattr(answer, "content"):
        assert "Our shop" not in answer.content.decode()
        assert f"/signs/{world.parts['sign_id']}/" not in answer.content.decode()

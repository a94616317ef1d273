"""Two agencies and one shop: who reads which rows, and which columns of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import transaction
from django.db.models import Q

from inventory.models import (
    Blank,
    BlankCount,
    BlankPrice,
    BuildArea,
    BuildRule,
    ColourArea,
    DevicePerson,
    ExchangeEpoch,
    FaceLabel,
    InkChannel,
    InkContainer,
    Inspection,
    LabelBatch,
    LabelSheet,
    LaidPiece,
    LayoutFace,
    LayoutPlan,
    LayoutRun,
    LogbookEntry,
    MaintenanceTask,
    OperationNeed,
    OrderAmendment,
    OrderLine,
    Organisation,
    OverlayRoll,
    PlanLoad,
    PlannedFace,
    Press,
    PressEvent,
    PrintedLoad,
    PrintOrder,
    PrintRun,
    QualityReading,
    Reading,
    ReadingSet,
    RollLayout,
    Scoped,
    SheetingPrice,
    SheetingRoll,
    SheetingTurns,
    ShopCustomer,
    ShopPrices,
    ShopRule,
    ShopStep,
    Sign,
    SourceFace,
    ThicknessRow,
    User,
    WarrantyInitial,
    WarrantyStep,
    WarrantyTerm,
)
from inventory.models.scope import ALL_COLUMNS
from tests.factories import make_agency, make_shop
from tests.models.world import fill, scoped_models

if TYPE_CHECKING:
    from django.db import models

pytestmark = pytest.mark.django_db

# People and organisations are what the others are scoped by; a source face is read through
# its record, who signed in on a phone through the phone, what an operation needs through it;
# an epoch is the whole database's.
NOT_SCOPED = {User, Organisation, SourceFace, DevicePerson, OperationNeed, ExchangeEpoch}
KEPT_BY_SHOPS = {
    SheetingRoll,
    OverlayRoll,
    Press,
    PressEvent,
    InkChannel,
    InkContainer,
    MaintenanceTask,
    ShopRule,
    SheetingTurns,
    LayoutPlan,
    LayoutRun,
    PlanLoad,
    PlannedFace,
    LaidPiece,
    PrintedLoad,
    LabelSheet,
    LabelBatch,
    FaceLabel,
    ShopStep,
    Blank,
    BlankCount,
    ShopPrices,
    SheetingPrice,
    BlankPrice,
    ThicknessRow,
    BuildRule,
    BuildArea,
}
# What a shop tells all its customers.
TOLD_BY_SHOPS = {WarrantyTerm, WarrantyStep, WarrantyInitial}


@pytest.fixture(scope="module")
def two_agencies(django_db_setup, django_db_blocker):
    """Two agencies with a row of everything each, and the one shop that prints for both."""
    with django_db_blocker.unblock(), transaction.atomic():
        shop = make_shop()
        sides = []
        for name in ("Scope County A", "Scope County B"):
            agency = make_agency(name)
            ShopCustomer.objects.create(organisation=shop, agency=agency)
            sides.append(fill(agency, shop))
        yield shop, *sides
        transaction.set_rollback(True)


def keys(rows: Any) -> set[int]:
    return {row.pk for row in rows}


def path_fields(model: type[models.Model], path: str) -> list[Any]:
    """Return the fields a path runs over; an unknown one is an error."""
    fields = []
    for name in path.split("__"):
        field = model._meta.get_field(name)
        fields.append(field)
        model = field.related_model  # type: ignore[assignment]
    return fields


# --- what every record declares


def test_every_record_says_who_may_read_it():
    models = set(apps.get_app_config("inventory").get_models())
    assert models - set(scoped_models()) == NOT_SCOPED


@pytest.mark.parametrize("model", scoped_models())
def test_every_path_leads_to_an_organisation(model):
    for path in model.reader_paths.values():
        fields = path_fields(model, path)
        assert fields[-1].related_model is Organisation, path


@pytest.mark.parametrize("model", scoped_models())
def test_every_part_has_its_columns_and_every_column_exists(model):
    assert set(model.reader_columns) == set(model.reader_paths)
    assert "owner" in model.reader_paths
    concrete = {field.attname for field in model._meta.concrete_fields}
    for columns in model.reader_columns.values():
        assert columns == ALL_COLUMNS or set(columns) <= concrete


@pytest.mark.parametrize("model", scoped_models())
def test_a_path_that_can_repeat_a_row_says_so(model):
    repeats = any(
        field.one_to_many or field.many_to_many
        for path in model.reader_paths.values()
        for field in path_fields(model, path)
    )
    assert model.reader_paths_repeat == repeats


@pytest.mark.parametrize("model", scoped_models())
def test_every_condition_belongs_to_a_part_and_can_be_asked(model):
    assert set(model.reader_conditions) <= set(model.reader_paths)
    for condition in model.reader_conditions.values():
        assert list(model.objects.filter(condition)[:0]) == []


def test_a_wrong_path_would_be_noticed():
    with pytest.raises(FieldDoesNotExist):
        path_fields(Sign, "owner__nobody")


# --- what the rows are


@pytest.mark.parametrize("model", scoped_models())
def test_the_world_of_this_test_has_every_record_of_both_agencies(model, two_agencies):
    shop, a, b = two_agencies
    if model in KEPT_BY_SHOPS:
        assert model.objects.owned_by(shop).exists()
        return
    for side in (a, b):
        assert model.objects.readable_by(side.agency).exists()


@pytest.mark.parametrize("model", scoped_models())
def test_agencies_read_nothing_of_each_other(model, two_agencies):
    _shop, a, b = two_agencies
    read_by_a, read_by_b = (keys(model.objects.readable_by(side.agency)) for side in (a, b))
    if model in TOLD_BY_SHOPS:
        assert read_by_a == read_by_b
        return
    assert not read_by_a & read_by_b


@pytest.mark.parametrize("model", scoped_models())
def test_a_stranger_reads_nothing(model, two_agencies):
    for stranger in (make_agency(), make_shop()):
        rows = model.objects.readable_by(stranger)
        # A new agency has the rules it was made with.
        assert not [row for row in rows if getattr(row, "organisation", None) != stranger]
        assert len(model.objects.rows_for(stranger)) == rows.count()


@pytest.mark.parametrize("model", scoped_models())
def test_rows_for_gives_the_readable_rows_and_no_other_column(model, two_agencies):
    shop, a, _b = two_agencies
    for reader in (shop, a.agency):
        rows = {row["pk"]: row for row in model.objects.rows_for(reader)}
        assert set(rows) == keys(model.objects.readable_by(reader))
        for key, row in rows.items():
            assert set(row) - {"pk"} == permitted_columns(model, key, reader)


def permitted_columns(model: type[Scoped], key: int, reader: Organisation) -> set[str]:
    """Return the columns of one row that a reader may see, in all the parts it plays."""
    columns: set[str] = set()
    for part, path in model.reader_paths.items():
        plays = model.objects.filter(
            model.reader_conditions.get(part, Q()),
            pk=key,
            **{path: reader},
        )
        if plays.exists():
            own = model.reader_columns[part]
            columns |= (
                {field.attname for field in model._meta.concrete_fields}
                if own == ALL_COLUMNS
                else set(own)
            )
    return columns


# --- the trade: what a shop sees of its customers, and they of it


def test_a_shop_sees_the_faces_it_made_and_no_others(two_agencies):
    shop, a, b = two_agencies
    seen = keys(Sign.objects.readable_by(shop))
    assert seen == {sign.pk for side in (a, b) for sign in (side.new_sign, side.in_stock)}
    assert a.old_sign.pk not in seen
    assert keys(ColourArea.objects.readable_by(shop)) == keys(
        ColourArea.objects.filter(sign__in=seen)
    )


def test_a_shop_sees_the_life_of_its_face_and_not_the_agencys_plans(two_agencies):
    shop, a, _b = two_agencies
    row = next(each for each in Sign.objects.rows_for(shop) if each["pk"] == a.new_sign.pk)
    assert row["installed_on"] == a.new_sign.installed_on
    assert row["state"] == "installed"
    for column in ("planned_replacement_year", "position_id", "responsible", "panel_id"):
        assert column not in row


def test_a_shop_sees_both_agencies_orders_but_no_draft(two_agencies):
    shop, a, b = two_agencies
    assert keys(PrintOrder.objects.readable_by(shop)) == {a.order.pk, b.order.pk}
    for part in (OrderLine, OrderAmendment, RollLayout):
        orders = set(part.objects.readable_by(shop).values_list("order", flat=True))
        assert orders == {a.order.pk, b.order.pk}
    faces = LayoutFace.objects.readable_by(shop)
    assert set(faces.values_list("line__order", flat=True)) == {a.order.pk, b.order.pk}


def test_an_agency_sees_its_own_drafts(two_agencies):
    _shop, a, _b = two_agencies
    assert a.draft in PrintOrder.objects.readable_by(a.agency)
    assert OrderLine.objects.readable_by(a.agency).filter(order=a.draft).count() == 1


def test_a_draft_cancelled_before_its_release_stays_the_agencys_own(two_agencies):
    shop, a, _b = two_agencies
    PrintOrder.objects.filter(pk=a.draft.pk).update(state="cancelled")
    assert a.draft not in PrintOrder.objects.readable_by(shop)
    assert not OrderLine.objects.readable_by(shop).filter(order=a.draft).exists()


def test_a_shop_does_not_see_who_drafted_an_order_and_when(two_agencies):
    shop, a, _b = two_agencies
    rows = {row["pk"]: row for row in PrintOrder.objects.rows_for(shop)}
    row = rows[a.order.pk]
    assert row["number"] == a.order.number
    for column in ("drafted_at", "drafted_by_id", "released_by_id"):
        assert column not in row
    own = next(r for r in PrintOrder.objects.rows_for(a.agency) if r["pk"] == a.order.pk)
    assert own["drafted_at"] == a.order.drafted_at


def test_a_shop_sees_what_was_found_on_its_faces_and_on_no_others(two_agencies):
    shop, a, b = two_agencies
    assert keys(Inspection.objects.readable_by(shop)) == {a.seen_new.pk, b.seen_new.pk}
    sets = ReadingSet.objects.readable_by(shop)
    assert set(sets.values_list("inspection", flat=True)) == {a.seen_new.pk, b.seen_new.pk}
    readings = Reading.objects.readable_by(shop)
    assert set(readings.values_list("reading_set__inspection", flat=True)) == {
        a.seen_new.pk,
        b.seen_new.pk,
    }


def test_a_shop_learns_when_and_how_but_not_by_whom_its_face_was_inspected(two_agencies):
    shop, a, _b = two_agencies
    rows = {row["pk"]: row for row in Inspection.objects.rows_for(shop)}
    row = rows[a.seen_new.pk]
    assert row["taken_at"] == a.seen_new.taken_at
    assert (row["how"], row["surface_state"]) == ("hand_held", "dry")
    for column in ("note", "inspector_id", "client_uuid"):
        assert column not in row


def test_a_shops_stock_and_press_log_are_its_own(two_agencies):
    _shop, a, _b = two_agencies
    for model in KEPT_BY_SHOPS:
        assert not model.objects.readable_by(a.agency).exists()


def test_an_agency_learns_which_run_made_its_face_and_no_more_of_it(two_agencies):
    _shop, a, b = two_agencies
    (row,) = PrintRun.objects.rows_for(a.agency)
    assert set(row) == {"pk", "run_number", "started_at", "finished_at"}
    assert row["pk"] == a.run.pk != b.run.pk
    assert QualityReading.objects.readable_by(a.agency).count() == 1


def test_logbooks_are_each_organisations_own(two_agencies):
    shop, a, b = two_agencies
    for reader in (shop, a.agency, b.agency):
        entries = LogbookEntry.objects.readable_by(reader)
        assert set(entries.values_list("organisation", flat=True)) == {reader.pk}


def test_reading_through_many_rows_gives_each_row_once(two_agencies):
    _shop, a, _b = two_agencies
    # Both faces of the run belong to the agency once the second is up too.
    Sign.objects.filter(pk=a.in_stock.pk).update(owner=a.agency)
    assert PrintRun.objects.readable_by(a.agency).count() == 1

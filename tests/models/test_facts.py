"""Facts are written once: no way through the models changes or removes one."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
from django.db import models, transaction
from django.db.models import ProtectedError

from inventory.errors import StateConflictError
from inventory.models import Assessment, Fact, Inspection, Press, PressEvent, Sign
from tests.factories import make_agency, make_shop
from tests.kept import kept_records
from tests.models.world import fill, scoped_models

pytestmark = pytest.mark.django_db

FACTS = [model for model in scoped_models() if issubclass(model, Fact)]


@pytest.fixture(scope="module")
def stored(django_db_setup, django_db_blocker):
    """A row of every record, made once; each test takes back what it did."""
    with kept_records(django_db_blocker):
        agency = make_agency()
        yield fill(agency, make_shop(agency=agency))


@pytest.fixture
def side(stored, db):
    return deepcopy(stored)


def fact_of(model: type[Fact]) -> Fact:
    return model.objects.order_by("pk")[0]  # type: ignore[no-any-return] # a row of the model


def test_what_was_seen_measured_decided_and_loaded_is_a_fact():
    assert {model.__name__ for model in FACTS} == {
        "AgencyLevel",
        "AgencyPolicy",
        "Assessment",
        "BlankCount",
        "ClaimAnswer",
        "ClaimCredit",
        "ClaimFace",
        "ClaimStatement",
        "ClaimStep",
        "DamageClosure",
        "DamageReopening",
        "DamageReport",
        "DeviceBatch",
        "Disposition",
        "EarlierCertificate",
        "ElementAssessment",
        "ExpectedLife",
        "FaceCheck",
        "FaceLabel",
        "FaceReceipt",
        "FaceStep",
        "FlagSettlement",
        "Inspection",
        "InspectionFlag",
        "InstrumentCheck",
        "LabelBatch",
        "LineChange",
        "LogbookEntry",
        "MethodStep",
        "MovedPosition",
        "Observation",
        "OrderAnswer",
        "OrderQuestion",
        "PressEvent",
        "Proof",
        "ProofDecision",
        "QualityReading",
        "Reading",
        "ReadingSet",
        "RelinkedInspection",
        "ShipmentFace",
        "SignMerge",
        "SignMergeUndo",
        "StopResult",
        "SupportMerge",
        "SupportMergeUndo",
        "SupportMove",
        "VisualRating",
        "WarrantyInitial",
        "WarrantyStep",
        "WarrantyTerm",
        "WorkBasis",
        "WrongDataFlag",
        "WrongDataSettlement",
    }


@pytest.mark.parametrize("model", FACTS)
def test_no_way_through_the_models_changes_or_removes_a_fact(model, side):
    fact = fact_of(model)
    before = model.objects.filter(pk=fact.pk).values().get()
    rows = model.objects.filter(pk=fact.pk)
    column = fact._meta.pk.attname
    ways: dict[str, Any] = {
        "save": fact.save,
        "save of one field": lambda: fact.save(update_fields=[_some_field(model)]),
        "save by force": lambda: fact.save(force_update=True),
        "delete": fact.delete,
        "update of many": lambda: rows.update(pk=fact.pk),
        "delete of many": rows.delete,
        "bulk update": lambda: model.objects.bulk_update([fact], [_some_field(model)]),
        "write over in bulk": lambda: model.objects.bulk_create(
            [fact],
            update_conflicts=True,
            unique_fields=[column],
            update_fields=[_some_field(model)],
        ),
        "update or create": lambda: model.objects.update_or_create(
            pk=fact.pk, defaults={_some_field(model): getattr(fact, _some_field(model))}
        ),
    }
    for way, attempt in ways.items():
        with (
            pytest.raises(StateConflictError, match="is a fact and is never changed or"),
            transaction.atomic(),
        ):
            attempt()
        assert model.objects.filter(pk=fact.pk).values().get() == before, way


def _some_field(model: type[models.Model]) -> str:
    """Return a column of a record to try to write over, a plain one where it has one."""
    columns = [field for field in model._meta.concrete_fields if not field.primary_key]
    return next((field.name for field in columns if not field.is_relation), columns[0].name)


def test_no_way_through_what_a_fact_belongs_to_either(side):
    readings = side.seen_old.reading_sets.get().readings
    for attempt in (
        readings.all().delete,
        lambda: readings.update(typed="99"),
        lambda: side.seen_old.reading_sets.filter(color="red").update(color="white"),
    ):
        with pytest.raises(StateConflictError, match="is a fact"):
            attempt()
    assert list(readings.values_list("typed", flat=True)) == ["6", "6.5"]


def test_a_sign_with_facts_is_not_deleted_with_them(side):
    with pytest.raises(ProtectedError):
        side.old_sign.delete()
    assert Inspection.objects.filter(sign=side.old_sign).exists()
    assert Assessment.objects.filter(sign=side.old_sign).exists()


def test_a_press_with_a_log_is_not_deleted_with_it(side):
    press = Press.objects.get(pk=side.run.press_id)
    with pytest.raises(ProtectedError):
        press.delete()
    assert PressEvent.objects.filter(press=press).exists()


def test_a_fact_that_is_new_can_be_copied_into_a_new_row(side):
    event = PressEvent.objects.filter(corrects=None).order_by("pk")[0]
    event.pk, event._state.adding = None, True
    event.save()
    assert PressEvent.objects.filter(happened_at=event.happened_at).count() >= 2


def test_a_sign_is_no_fact_and_may_change(side):
    Sign.objects.filter(pk=side.new_sign.pk).update(planned_replacement_year=2040)
    assert Sign.objects.get(pk=side.new_sign.pk).planned_replacement_year == 2040

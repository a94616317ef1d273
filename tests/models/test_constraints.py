"""What must always hold is held by the database, whoever writes; each rule is broken once."""

from __future__ import annotations

import uuid
from copy import deepcopy
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from django.apps import apps
from django.db import IntegrityError, models, transaction
from django.db.models import F

from inventory.models import (
    AgencyLevel,
    AgencyPolicy,
    BackTest,
    Blank,
    BlankCount,
    BlankPrice,
    BuildArea,
    BuildRule,
    ClaimAnswer,
    ClaimCredit,
    ClaimFace,
    ClaimStatement,
    ClaimStep,
    CodeAlias,
    CohortFit,
    ColourArea,
    Crew,
    CrewPlan,
    DamageClosure,
    DamageReopening,
    DamageReport,
    DamageStanding,
    DeviceOperation,
    DevicePerson,
    Disposition,
    ElementAssessment,
    ExpectedLife,
    FaceCheck,
    FaceChoice,
    FaceLabel,
    FaceReceipt,
    FaceStep,
    FlagSettlement,
    ForecastRun,
    ImportMissing,
    ImportRun,
    InkChannel,
    InkContainer,
    Inspection,
    InspectionFlag,
    Instrument,
    LabelBatch,
    LabelSheet,
    LaidPiece,
    LayoutPlan,
    LayoutRun,
    LineChange,
    LocalSignType,
    LotFinding,
    MaintenanceTask,
    Membership,
    MethodAssignment,
    MethodGroup,
    MovedPosition,
    OperationNeed,
    OrderAnswer,
    OrderLine,
    OrderQuestion,
    OverlayRoll,
    PackageStop,
    PhotoUpload,
    PlanLoad,
    PlannedDay,
    PlannedFace,
    PlannedReplacement,
    PlannedStop,
    Position,
    Press,
    PressEvent,
    PrintOrder,
    PrintRun,
    Programme,
    ProgrammeRun,
    Proof,
    ProofDecision,
    QualityReading,
    Reading,
    ReadingSet,
    RefusedEntry,
    RelinkedInspection,
    Road,
    SheetingPrice,
    SheetingRoll,
    SheetingTurns,
    Shipment,
    ShopCustomer,
    ShopPrices,
    ShopRule,
    ShopStep,
    Sign,
    SignForecast,
    SignMerge,
    SourceFace,
    SourceRecord,
    StockReservation,
    StopResult,
    Support,
    SupportMerge,
    ThicknessRow,
    WarrantyClaim,
    WarrantyInitial,
    WarrantyStep,
    WarrantyTerm,
    WorkBasis,
    WrongDataFlag,
    WrongDataSettlement,
)
from tests.factories import NOW, make_agency, make_position, make_shop, position_of
from tests.kept import kept_records
from tests.models.world import fill

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
NEW_KEY = uuid.UUID(int=1)


@dataclass(frozen=True)
class Broken:
    """A rule, and how a stored row breaks it: these values, in a row of this kind."""

    rule: str
    model: type[models.Model]
    values: dict[str, Any]
    where: dict[str, Any] | None = None


def change(rule: str, model: type[models.Model], **values: Any) -> Broken:
    """A stored row that is changed so as to break a rule."""
    return Broken(rule, model, values)


STORED = [
    change("support_latitude_on_globe", Support, latitude_deg=90.1),
    change("support_longitude_on_globe", Support, longitude_deg=-180.1),
    change("position_facing_0_to_360", Position, facing_deg=360),
    change("position_width_positive", Position, width_in=0),
    change("position_height_positive", Position, height_in=-1),
    change("sign_width_positive", Sign, width_in=0),
    change("sign_height_positive", Sign, height_in=0),
    change(
        "certificate_dates_in_order",
        Instrument,
        certificate_on=date(2026, 2, 2),
        certificate_due_on=date(2026, 2, 1),
    ),
    change("import_counts_add_up", ImportRun, rows_done=1),
    change("roll_width_positive", SheetingRoll, width_in=0),
    change("roll_length_positive", SheetingRoll, length_ft=0),
    change("overlay_width_positive", OverlayRoll, width_in=0),
    change("press_width_positive", Press, width_in=0),
    change("press_rate_positive", Press, rate_ft2_per_h=0),
    change("press_prints_within_its_width", Press, printable_width_in=999),
    change("press_losses_not_negative", Press, tail_in=-1),
    change("press_setup_not_negative", Press, setup_minutes=-1),
    change("ink_channel_kind_known", InkChannel, kind="dye"),
    change("ink_per_area_positive", InkChannel, ml_per_m2=0),
    change("ink_cover_is_a_share", InkChannel, cover_share=1.1),
    change("ink_container_kind_known", InkContainer, kind="dye"),
    change("ink_volume_positive", InkContainer, volume_ml=0),
    change("shelf_life_positive", ShopRule, ink_months=0),
    change("maintenance_by_days_or_hours", MaintenanceTask, every_hours=50),
    change("maintenance_by_days_or_hours", MaintenanceTask, every_days=None),
    change("turns_have_a_basis", SheetingTurns, basis=""),
    change("layout_rules_not_negative", LayoutPlan, gap_in=-0.1),
    change("frozen_layout_says_when", LayoutPlan, frozen_at=None),
    change("load_fits_its_roll", PlanLoad, taken_in=1800.1),
    change("accepted_order_promises_a_day", PrintOrder, accepted_at=NOW, promised_on=None),
    change("shop_step_place_from_1", ShopStep, place=0),
    change("shop_step_hours_not_negative", ShopStep, least_hours=-1),
    change("shop_prices_have_currency", ShopPrices, currency=""),
    change("overlay_price_not_negative", ShopPrices, overlay_price_ft2="-0.0001"),
    change("sheeting_price_not_negative", SheetingPrice, price_ft2="-0.01"),
    change("blank_price_not_negative", BlankPrice, thickness_in=0),
    change("blank_price_not_negative", BlankPrice, price="-0.01"),
    change("blank_price_has_a_size", BlankPrice, short_in="30.5"),
    change("blank_price_has_a_size", BlankPrice, short_in="30.5", long_in="30"),
    change("thickness_row_positive", ThicknessRow, thickness_in=0),
    change("thickness_row_positive", ThicknessRow, up_to_in=0),
    change("thickness_row_has_a_basis", ThicknessRow, basis=""),
    change("build_rule_has_a_base", BuildRule, base_color=""),
    change("build_rule_has_a_base", BuildRule, sheeting_type=""),
    change("build_rule_thickness_positive", BuildRule, blank_thickness_in=0),
    change("build_area_says_what", BuildArea, color=""),
    change("build_area_says_what", BuildArea, colouring=""),
    change("blank_size_positive", Blank, thickness_in=0),
    change("due_rank_from_1", PlannedFace, due_rank=0),
    change("label_sheet_holds_a_label", LabelSheet, rows=0),
    change("label_sheet_not_negative", LabelSheet, gap_down_in=-0.1),
    change("run_starts_before_it_ends", PrintRun, finished_at=NOW - 9 * DAY),
    change("run_area_positive", PrintRun, printed_area_ft2=0),
    change("released_order_says_when", PrintOrder, released_at=None, state="released"),
    change("order_press_rate_positive", PrintOrder, press_rate_ft2_per_h=0),
    change("line_size_positive", OrderLine, width_in=0),
    change("face_choice_says_something", FaceChoice, sheeting_type="", left_out_reason=""),
    change("reservation_end_says_why", StockReservation, ended_at=NOW, end_reason=""),
    change("local_width_positive", LocalSignType, width_in=0),
    change("local_height_positive", LocalSignType, height_in=0),
    change("method_group_has_basis", MethodGroup, basis=""),
    change("method_group_ends_after_start", MethodGroup, ended_on=NOW.date() - DAY),
    change("excluded_group_names_clause", MethodGroup, method="excluded"),
    change("life_group_has_years", MethodGroup, method="expected_life", expected_life_years=0),
    change("method_group_has_interval", MethodGroup, interval_months=0),
    change("assignment_ends_after_start", MethodAssignment, until_on=NOW.date() - DAY),
    change("operation_settled_with_reason", DeviceOperation, settled_at=NOW),
    change("operation_settled_with_reason", DeviceOperation, settled_reason="seen"),
    change("operation_replaces_another", DeviceOperation, replaces_uuid=F("client_uuid")),
    change("upload_not_longer_than_announced", PhotoUpload, received_bytes=1001),
    change(
        "forecast_early_before_due",
        SignForecast,
        due_on=NOW.date(),
        due_early_on=NOW.date() + DAY,
    ),
    change("programme_1_to_15_years", Programme, years=16),
    change("programme_1_to_15_years", Programme, years=0),
    change("damage_over_says_how", DamageStanding, is_open=False),
    change("damage_over_says_how", DamageStanding, way="repaired"),
    change("crew_depot_on_globe", Crew, depot_latitude_deg=-90.1),
    change("crew_shift_half_to_16_hours", Crew, shift_minutes=29),
    change("crew_shift_half_to_16_hours", Crew, day_starts_minute=1440),
    change("crew_works_some_day", Crew, weekdays=""),
    change("crew_plan_days_in_order", CrewPlan, last_on=NOW.date() - DAY),
    change("on_a_day_or_says_why_not", PlannedStop, reason="no time left"),
    change("on_a_day_or_says_why_not", PlannedStop, day=None, number=None),
    change("claim_has_two_parties", WarrantyClaim, shop_id=F("agency_id")),
    change("claim_sent_says_until_when", WarrantyClaim, sent_at=None),
]

# A fact cannot be changed at all: these are stored as further rows.
ADDED = [
    change("warranty_has_its_text", WarrantyTerm, version=9, supplier_text=""),
    change("warranty_storage_positive", WarrantyTerm, version=9, storage_months=0),
    change("warranty_share_is_a_share", WarrantyStep, until_years=9, retained_share=0),
    change("warranty_initial_positive", WarrantyInitial, color="red", ra_cd_lx_m2=0),
    change("claim_statement_says_why", ClaimStatement, words=""),
    change("claim_withdrawn_says_why", ClaimStep, state="withdrawn"),
    change("claim_refused_says_why", ClaimAnswer, is_accepted=False),
    change("credit_has_faces", ClaimCredit, face_count=0),
    change("credit_says_what", ClaimCredit, words=""),
    change("line_change_changes", LineChange, quantity_after=2),
    change("proof_spells_a_legend", Proof, legend_text="", number=9),
    change("proof_sent_back_says_why", ProofDecision, is_approved=False),
    change("passed_face_has_no_fault", FaceCheck, readings="below"),
    change("failed_face_says_what_is_lost", FaceCheck, is_passed=False),
    change("withdrawn_step_says_why", FaceStep, is_withdrawn=True),
    change("blank_count_changes", BlankCount, change=0),
    change("blank_count_says_why", BlankCount, reason=""),
    change("question_says_something", OrderQuestion, text=""),
    change("answer_says_something", OrderAnswer, text=""),
    change("receipt_of_a_loss_says_why", FaceReceipt, outcome="broken"),
    change("label_first_place_from_1", LabelBatch, first_place=0),
    change("policy_press_rate_positive", AgencyPolicy, version=9, press_rate_ft2_per_h=0),
    change("policy_guard_over_half", AgencyPolicy, version=9, guard_probability=0.5),
    change("policy_guard_over_half", AgencyPolicy, version=9, guard_probability=1),
    change(
        "policy_uncertainty_not_negative",
        AgencyPolicy,
        version=9,
        instrument_common_rel=-0.01,
    ),
    change("policy_uncertainty_has_basis", AgencyPolicy, version=9, uncertainty_basis=""),
    change("policy_due_probability_005_to_095", AgencyPolicy, version=9, due_probability=0.96),
    change("expected_life_over_0_to_60", ExpectedLife, years=61),
    change("expected_life_has_basis", ExpectedLife, basis=""),
    change("work_basis_not_negative", WorkBasis, version=9, face_price=-1),
    change("work_basis_travel_positive", WorkBasis, version=9, detour_factor=0.9),
    change("work_basis_has_basis", WorkBasis, version=9, basis=""),
    change("own_level_positive", AgencyLevel, minimum_ra_cd_lx_m2=Decimal(0)),
    change("own_level_has_basis", AgencyLevel, approved_by=""),
    change("flag_settled_with_reason", FlagSettlement, reason=""),
    change("wrong_data_says_what", WrongDataFlag, said="", client_uuid=uuid.UUID(int=1)),
    change("wrong_data_settled_with_reason", WrongDataSettlement, reason=""),
    change("damage_seen_as_well_as_known", DamageReport, reported_at=NOW, client_uuid=NEW_KEY),
    change("damage_told_as_well_as_known", DamageReport, notified_at=None, client_uuid=NEW_KEY),
    change("damage_moderate_or_severe", DamageReport, severity=1, client_uuid=NEW_KEY),
    change("damage_told_says_who", DamageReport, told_by="", client_uuid=NEW_KEY),
    change("damage_done_as_well_as_known", DamageClosure, done_at=None, client_uuid=NEW_KEY),
    change("damage_nothing_to_do_says_why", DamageClosure, way="nothing", client_uuid=NEW_KEY),
    change("damage_told_twice_names_other", DamageClosure, way="same", client_uuid=NEW_KEY),
    change("damage_new_face_is_named", DamageClosure, way="new_face", client_uuid=NEW_KEY),
    change("damage_reopened_with_reason", DamageReopening, reason=""),
    change("support_merge_has_reason", SupportMerge, reason=""),
    change("sign_merge_has_reason", SignMerge, reason=""),
    change(
        "not_done_has_reason",
        StopResult,
        outcome="not_done",
        reason="",
        client_uuid=uuid.UUID(int=1),
    ),
]


@pytest.fixture(scope="module")
def stored(django_db_setup, django_db_blocker):
    """A row of every record, made once; each test takes back what it did."""
    with kept_records(django_db_blocker):
        agency = make_agency()
        yield fill(agency, make_shop(agency=agency))


@pytest.fixture
def side(stored, db):
    return deepcopy(stored)


def refused(rule: str, attempt: Callable[[], Any]) -> None:
    """Make sure the database refuses a step, and by the rule that is meant."""
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        attempt()
    constraint = next(each for each in all_rules() if each.name == rule)
    text = str(caught.value)
    if rule in text:
        return
    # SQLite names a unique rule by its columns.
    assert isinstance(constraint, models.UniqueConstraint), text
    for name in constraint.fields:
        assert name in text, text


def all_rules() -> list[models.CheckConstraint | models.UniqueConstraint]:
    found: list[Any] = []
    for model in apps.get_app_config("inventory").get_models():
        found.extend(model._meta.constraints)
    return found


@pytest.mark.parametrize("broken", STORED, ids=lambda each: each.rule)
def test_a_stored_row_cannot_be_changed_to_break_a_rule(broken, side):
    row = broken.model._default_manager.order_by("pk").first()
    assert row is not None
    refused(
        broken.rule,
        lambda: broken.model._default_manager.filter(pk=row.pk).update(**broken.values),
    )


def copy_of(row: models.Model, **values: Any) -> Callable[[], Any]:
    """Return the storing of a second row like one that is there, but for some values."""

    def store() -> None:
        kept = {
            field.attname: getattr(row, field.attname)
            for field in row._meta.concrete_fields
            if not field.primary_key
        }
        type(row)(**kept | values).save()

    return store


def only(model: type[models.Model], **where: Any) -> Any:
    row = model._default_manager.filter(**where).order_by("pk").first()
    assert row is not None
    return row


@pytest.mark.parametrize("broken", ADDED, ids=lambda each: each.rule)
def test_a_fact_that_breaks_a_rule_is_not_stored(broken, side):
    refused(broken.rule, copy_of(only(broken.model), **broken.values))


def other_roll() -> SheetingRoll:
    roll = only(SheetingRoll)
    roll.pk, roll.roll_number = None, "another"
    roll.save()
    return roll  # type: ignore[no-any-return]


TWICE: dict[str, Callable[[], tuple[models.Model, dict[str, Any]]]] = {
    "membership_once_per_role": lambda: (only(Membership), {}),
    "policy_version_once": lambda: (only(AgencyPolicy), {}),
    "customer_once": lambda: (only(ShopCustomer), {}),
    "road_name_once": lambda: (only(Road), {}),
    "colour_number_once": lambda: (only(ColourArea), {}),
    "instrument_once": lambda: (only(Instrument), {}),
    "reading_set_once": lambda: (only(ReadingSet), {}),
    "reading_once": lambda: (only(Reading), {}),
    "element_once": lambda: (only(ElementAssessment), {}),
    "source_row_once": lambda: (only(SourceRecord), {}),
    "missing_row_once": lambda: (only(ImportMissing), {}),
    "roll_once": lambda: (only(SheetingRoll), {}),
    "overlay_once": lambda: (only(OverlayRoll), {}),
    "ink_channel_once": lambda: (only(InkChannel), {}),
    "ink_container_once": lambda: (only(InkContainer), {}),
    "maintenance_task_once": lambda: (only(MaintenanceTask), {}),
    "press_once": lambda: (only(Press), {}),
    "run_number_once": lambda: (only(PrintRun), {}),
    "order_number_once": lambda: (only(PrintOrder), {}),
    "order_line_once": lambda: (only(OrderLine), {"position_id": None}),
    "position_once_per_order": lambda: (only(OrderLine), {"number": 99}),
    "warranty_version_once": lambda: (only(WarrantyTerm), {}),
    "warranty_step_once": lambda: (only(WarrantyStep), {}),
    "warranty_colour_once": lambda: (only(WarrantyInitial), {}),
    "claim_number_once": lambda: (only(WarrantyClaim), {}),
    "claim_face_colour_once": lambda: (only(ClaimFace), {}),
    "claim_step_once": lambda: (only(ClaimStep), {}),
    "proof_number_once": lambda: (only(Proof), {}),
    "shop_step_once": lambda: (only(ShopStep), {}),
    "blank_once": lambda: (only(Blank), {}),
    "sheeting_price_once": lambda: (only(SheetingPrice), {}),
    "blank_price_once_a_size": lambda: (only(BlankPrice, short_in=30), {}),
    "blank_price_once_by_area": lambda: (only(BlankPrice, short_in=None), {}),
    "thickness_once_a_size": lambda: (only(ThicknessRow, up_to_in=36), {}),
    "thickness_once_for_longer": lambda: (only(ThicknessRow, up_to_in=None), {}),
    "build_rule_once_in_use": lambda: (only(BuildRule), {}),
    "build_area_once": lambda: (only(BuildArea), {}),
    "shipment_number_once": lambda: (only(Shipment), {}),
    "label_sheet_once": lambda: (only(LabelSheet), {}),
    "label_number_once": lambda: (
        only(FaceLabel),
        {"sign_id": only(Sign, labels=None).pk},
    ),
    "face_once_a_batch": lambda: (only(FaceLabel), {"number": 9}),
    "turns_once": lambda: (only(SheetingTurns), {}),
    "one_open_run_per_layout": lambda: (only(LayoutRun), {}),
    "load_number_once": lambda: (only(PlanLoad), {"roll_id": other_roll().pk}),
    "roll_loaded_once_a_plan": lambda: (only(PlanLoad), {"number": 9}),
    "planned_face_once": lambda: (only(PlannedFace), {"printed_as_id": None}),
    "piece_laid_once": lambda: (only(LaidPiece), {}),
    "face_reserved_once": lambda: (
        only(StockReservation),
        {"position_id": only(Position, stock_reservations=None).pk},
    ),
    "position_has_one_face_reserved": lambda: (
        only(StockReservation),
        {"sign_id": only(Sign, stock_reservations=None).pk},
    ),
    "local_code_once": lambda: (only(LocalSignType), {}),
    "alias_once": lambda: (only(CodeAlias), {}),
    "flag_once_per_check": lambda: (only(InspectionFlag), {}),
    "method_group_name_once": lambda: (only(MethodGroup), {}),
    "position_under_one_method": lambda: (only(MethodAssignment), {}),
    "device_person_once": lambda: (only(DevicePerson), {}),
    "operation_need_once": lambda: (only(OperationNeed), {}),
    "moved_position_once": lambda: (only(MovedPosition), {}),
    "relink_once": lambda: (only(RelinkedInspection), {}),
    "stop_number_once": lambda: (only(PackageStop), {}),
    "one_newest_fit_per_cohort": lambda: (only(CohortFit), {}),
    "lot_finding_once_per_agency": lambda: (only(LotFinding), {}),
    "one_back_test_under_way": lambda: (only(BackTest), {}),
    "one_forecast_under_way": lambda: (only(ForecastRun), {}),
    "work_basis_version_once": lambda: (only(WorkBasis), {}),
    "programme_name_once": lambda: (only(Programme), {}),
    "one_run_of_a_programme_at_a_time": lambda: (only(ProgrammeRun), {}),
    "position_planned_once": lambda: (only(PlannedReplacement), {}),
    "crew_name_once": lambda: (only(Crew), {}),
    "one_crew_planning_at_a_time": lambda: (only(CrewPlan), {}),
    "planned_day_number_once": lambda: (
        only(PlannedDay),
        {"work_on": NOW.date() + 9 * DAY},
    ),
    "crew_goes_out_once_a_day": lambda: (only(PlannedDay), {"number": 9}),
    "work_planned_once": lambda: (only(PlannedStop), {"number": 9}),
    "planned_stop_number_once": lambda: (only(PlannedStop), {"task": "read"}),
}


@pytest.mark.parametrize("rule", TWICE)
def test_what_there_is_once_is_not_stored_twice(rule, side):
    row, values = TWICE[rule]()
    refused(rule, copy_of(row, **values))


def new_sign(agency: Any, **fields: Any) -> Sign:
    return Sign(**{"owner": agency, "state": "in_stock"} | fields)


def test_a_support_has_its_lists_key_once_and_may_have_none(side):
    support = only(Support)
    copy_of(support, external_key="")()
    Support.objects.filter(pk=support.pk).update(external_key="S-1")
    refused("support_key_once", copy_of(support, external_key="S-1"))


def test_a_customer_is_somebody_else(side):
    customer = only(ShopCustomer)
    refused(
        "customer_is_another",
        copy_of(customer, agency_id=customer.organisation_id),
    )


def test_a_plaque_does_not_belong_to_itself(side):
    position = only(Position)
    refused(
        "position_not_its_own_parent",
        lambda: Position.objects.filter(pk=position.pk).update(parent=position),
    )


def test_a_position_holds_one_face_at_a_time(side):
    position = position_of(side.new_sign)
    second = new_sign(side.agency, state="installed", position=position)
    refused("one_installed_sign_per_position", second.save)
    second.state, second.removal_reason = "removed", "aged"
    second.save()


@pytest.mark.parametrize(
    "fields",
    [
        {"state": "installed"},
        {"state": "in_stock", "removed_on": date(2026, 1, 1)},
        {"state": "lost"},
    ],
)
def test_a_faces_state_fits_where_it_is(side, fields):
    refused("sign_state_fits_its_place", new_sign(side.agency, **fields).save)


def test_a_face_in_stock_has_no_position_and_an_installed_one_an_owner(side):
    place = make_position(side.agency)
    refused("sign_state_fits_its_place", new_sign(side.agency, position=place).save)
    shop = side.order.shop
    refused(
        "sign_state_fits_its_place",
        new_sign(None, maker=shop, state="installed", position=place).save,
    )


def test_a_removed_face_says_why(side):
    refused("removed_sign_says_why", new_sign(side.agency, state="removed").save)


def test_a_face_belongs_to_somebody_or_was_made_by_somebody(side):
    refused("sign_has_owner_or_maker", new_sign(None).save)


def test_the_dates_of_a_face_are_in_order(side):
    up = {"state": "removed", "removal_reason": "aged", "installed_on": date(2020, 5, 1)}
    made_later = {"fabricated_on": date(2020, 5, 2)}
    refused("sign_fabricated_before_installed", new_sign(side.agency, **up | made_later).save)
    # Of a year alone it cannot be said that it is later.
    new_sign(side.agency, **up | made_later, fabricated_precision="year").save()
    refused(
        "sign_installed_before_removed",
        new_sign(side.agency, **up, removed_on=date(2020, 4, 30)).save,
    )
    new_sign(side.agency, **up, removed_on=date(2020, 5, 1)).save()


def test_an_inspection_does_not_correct_itself(side):
    seen = only(Inspection)
    row = {field.attname: getattr(seen, field.attname) for field in seen._meta.concrete_fields}
    row |= {"id": 10_000, "client_uuid": "0" * 32, "corrects_id": 10_000}
    refused("inspection_corrects_another", Inspection(**row).save)


@pytest.mark.parametrize(
    ("rule", "model"),
    [("reading_ra_not_negative", Reading), ("quality_reading_not_negative", QualityReading)],
)
def test_no_face_returns_less_than_no_light(side, rule, model):
    values: dict[str, Any] = {"ra_cd_lx_m2": Decimal("-0.001")}
    if model is Reading:
        values["number"] = 99
    refused(rule, copy_of(only(model), **values))


@pytest.mark.parametrize(
    "fields", [{"reason": "busy"}, {"defer_until_on": date(2027, 1, 1)}, {}]
)
@pytest.mark.parametrize("waits", ["defer", "claim"])
def test_a_deferral_has_a_date_and_a_reason(side, fields, waits):
    decision = Disposition(
        organisation=side.agency,
        sign=side.new_sign,
        decision=waits,
        decided_at=NOW,
        **fields,
    )
    refused("deferral_has_date_and_reason", decision.save)


def test_a_certificate_out_of_date_is_flagged_once(side):
    flag = only(InspectionFlag)
    without_check = copy_of(flag, reason="certificate_expired", check_made_id=None)
    without_check()
    refused("flag_once_without_check", without_check)


def test_a_report_of_damage_does_not_correct_itself(side):
    report = only(DamageReport)
    row = {
        field.attname: getattr(report, field.attname) for field in report._meta.concrete_fields
    }
    row |= {"id": 10_000, "client_uuid": NEW_KEY, "corrects_id": 10_000}
    refused("damage_corrects_another", DamageReport(**row).save)


def test_what_was_refused_is_kept_once_while_it_waits(side):
    entry = only(RefusedEntry)
    refused("refused_once_while_open", copy_of(entry))
    copy_of(entry, settled_at=NOW, settled_reason="typed anew")()


@pytest.mark.parametrize(
    "fields", [{"settled_at": NOW}, {"settled_reason": "typed anew"}], ids=["when", "why"]
)
def test_a_refused_entry_is_settled_with_day_and_reason(side, fields):
    refused(
        "refused_settled_with_reason",
        copy_of(only(RefusedEntry), fingerprint="1" * 64, **fields),
    )


@pytest.mark.parametrize(
    ("rule", "model"),
    [("sign_merge_of_two", SignMerge), ("support_merge_of_two", SupportMerge)],
)
def test_nothing_is_merged_with_itself(side, rule, model):
    merge = only(model)
    refused(rule, copy_of(merge, duplicate_id=merge.kept_id))


def test_a_face_of_a_source_row_is_told_apart_by_number(side):
    record = only(SourceRecord)
    SourceFace.objects.create(record=record, position=make_position(side.agency))
    second = SourceFace(record=record, position=make_position(side.agency))
    refused("source_face_once", second.save)


@pytest.mark.parametrize(
    ("rule", "fields"),
    [
        ("roll_event_names_roll", {"kind": "roll_loaded", "roll_id": None}),
        ("roll_event_names_roll", {"kind": "roll_taken_off", "roll_id": None}),
        ("overlay_event_names_roll", {"kind": "overlay_loaded", "overlay_id": None}),
        ("overlay_event_names_roll", {"kind": "overlay_taken_off", "overlay_id": None}),
        ("ink_event_names_lot", {"kind": "ink_changed", "ink_channel": "1"}),
        ("ink_event_names_lot", {"kind": "ink_changed", "ink_lot": "A"}),
        ("withdrawal_names_event", {"kind": "withdrawn", "corrects_id": None}),
        ("dryer_event_names_heat", {"kind": "dryer_set"}),
        ("ink_measured_names_amount", {"kind": "ink_measured"}),
        ("press_event_not_negative", {"remaining_ml": -1.0}),
    ],
)
def test_an_event_names_what_its_kind_is_about(side, rule, fields):
    refused(rule, copy_of(only(PressEvent), **fields))


def test_an_event_corrects_another_and_is_corrected_once(side):
    event = only(PressEvent)
    row = {
        field.attname: getattr(event, field.attname) for field in event._meta.concrete_fields
    }
    row |= {"id": 10_000, "corrects_id": 10_000}
    refused("press_event_corrects_another", PressEvent(**row).save)
    correct = copy_of(event, corrects_id=event.pk)
    correct()
    refused("press_event_corrected_once", correct)


def test_an_order_is_between_two(side):
    refused(
        "order_has_two_parties",
        lambda: PrintOrder.objects.filter(pk=side.order.pk).update(shop=side.agency),
    )


def test_a_line_for_a_position_is_one_face(side):
    line = only(OrderLine, position__isnull=False)
    refused(
        "line_for_a_position_is_one_face",
        lambda: OrderLine.objects.filter(pk=line.pk).update(quantity=2),
    )


def test_an_agency_has_one_adopted_programme(side):
    programme = only(Programme)
    Programme.objects.filter(pk=programme.pk).update(state="adopted")
    refused(
        "one_adopted_programme_per_agency",
        copy_of(programme, name="Another", state="adopted"),
    )


def test_every_rule_of_the_records_is_broken_somewhere_here():
    with open(__file__, encoding="utf-8") as here:
        text = here.read()
    assert [each.name for each in all_rules() if f'"{each.name}"' not in text] == []

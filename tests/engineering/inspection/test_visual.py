"""The evidence of a rating by night: exactly what each procedure needs, and nothing less."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from inventory.engineering.inspection.visual import check_evidence
from inventory.engineering.standards.night_procedures import (
    EvidenceKind,
    NightProcedure,
    decision_of,
    evidence_items,
    hit_rates,
)
from inventory.engineering.standards.vocabulary import Checked
from inventory.errors import OutOfRangeError

NIGHT = date(2026, 6, 1)
WHOLE: dict[str, dict[str, Any]] = {
    "calibration_signs": {
        "colors": [
            {
                "color": "white",
                "calibration_sign": "C-3",
                "ra_cd_lx_m2": "38.5",
                "measured_on": "2026-05-20",
            }
        ],
        "viewed_on": "2026-06-01",
        "viewed_before_run": True,
        "same_vehicle": True,
        "same_distance": True,
    },
    "comparison_panels": {
        "colors": [{"color": "white", "panel": "P-7", "ra_cd_lx_m2": "36"}],
        "fixed_to_sign": True,
        "distance_ft": 25,
        "flashlight_close_to_head": True,
    },
    "consistent_parameters": {
        "inspector_age_years": 60,
        "vehicle_kind": "SUV",
        "vehicle_model_year": "2000",
        "low_beams_aimed": True,
    },
}


def without(procedure, key):
    return {name: value for name, value in WHOLE[procedure].items() if name != key}


def with_color(procedure, **changes):
    color = dict(WHOLE[procedure]["colors"][0]) | changes
    stated = {name: value for name, value in color.items() if value is not None}
    return WHOLE[procedure] | {"colors": [stated]}


@pytest.mark.parametrize("procedure", WHOLE)
def test_whole_evidence_is_let_pass(procedure):
    check_evidence(procedure, WHOLE[procedure], seen_on=NIGHT)


@pytest.mark.parametrize("procedure", NightProcedure)
def test_every_piece_of_evidence_a_procedure_needs_is_asked_for(procedure):
    """Leave out one piece after the other, colour by colour and for all: each is missed."""
    for item in evidence_items(procedure):
        if item.per_color:
            evidence = with_color(procedure, **{item.key: None})
        else:
            evidence = without(procedure, item.key)
        with pytest.raises(OutOfRangeError) as refusal:
            check_evidence(procedure, evidence, seen_on=NIGHT)
        assert item.label in str(refusal.value)
        assert str(refusal.value).endswith(".")


@pytest.mark.parametrize(
    ("procedure", "changes", "sentence"),
    [
        # Aged 60 or over; SUV or pick-up of model year 2000 or newer: reference notes on
        # methods, the age read as a topic in a WSDOT list, the rest from memory.
        (
            "consistent_parameters",
            {"inspector_age_years": 59},
            "59 years; .* asks for 60 years",
        ),
        ("consistent_parameters", {"inspector_age_years": "old"}, "'old' is not a number"),
        ("consistent_parameters", {"inspector_age_years": True}, "'True' is not a number"),
        ("consistent_parameters", {"vehicle_kind": "saloon"}, "asks for SUV or pick-up"),
        ("consistent_parameters", {"vehicle_model_year": 1999}, "is 1999; .* asks for 2000"),
        ("consistent_parameters", {"low_beams_aimed": False}, "low beams were on, and aimed"),
        ("consistent_parameters", {"low_beams_aimed": "yes"}, "low beams were on, and aimed"),
        # 25 ft and the flashlight: read in the WSDOT list of questions and answers.
        ("comparison_panels", {"distance_ft": 24}, "24 ft; .* is for 25 ft"),
        ("comparison_panels", {"distance_ft": "25.5"}, "25.5 ft; .* is for 25 ft"),
        ("comparison_panels", {"colors": []}, "at least one colour"),
        ("comparison_panels", {"colors": [{"panel": "P-7"}]}, "which colour"),
        ("comparison_panels", {"panels": "P-7"}, "does not ask for 'panels'"),
        ("calibration_signs", {"viewed_on": "2026-05-30"}, "the same night"),
        ("calibration_signs", {"viewed_on": "2026-06-02"}, "the same night"),
        ("calibration_signs", {"viewed_on": "last night"}, "not a calendar date"),
        ("calibration_signs", {"same_vehicle": None}, "from the same vehicle"),
    ],
)
def test_what_a_procedure_does_not_allow_is_refused_in_a_sentence(procedure, changes, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        check_evidence(procedure, WHOLE[procedure] | changes, seen_on=NIGHT)


def test_a_sign_rated_after_midnight_was_rated_the_night_of_the_evening_before():
    check_evidence("calibration_signs", WHOLE["calibration_signs"], seen_on=date(2026, 6, 2))


def test_a_calibration_sign_is_measured_before_the_night_and_above_nought():
    for changes, sentence in (
        ({"measured_on": "2026-06-02"}, "after the sign was rated"),
        ({"ra_cd_lx_m2": "0"}, "has to be over 0"),
        ({"calibration_sign": "  "}, "asks for the calibration sign's number"),
    ):
        with pytest.raises(OutOfRangeError, match=sentence):
            check_evidence(
                "calibration_signs", with_color("calibration_signs", **changes), seen_on=NIGHT
            )


def test_a_panel_darker_than_the_level_proves_nothing():
    level = {"white": Decimal("35.000")}
    check_evidence(
        "comparison_panels", with_color("comparison_panels", ra_cd_lx_m2=35), levels=level
    )
    with pytest.raises(OutOfRangeError, match="34 cd/lx/m², below the level of 35"):
        check_evidence(
            "comparison_panels", with_color("comparison_panels", ra_cd_lx_m2=34), levels=level
        )


def test_a_colour_is_stated_once():
    twice = WHOLE["comparison_panels"] | {"colors": WHOLE["comparison_panels"]["colors"] * 2}
    with pytest.raises(OutOfRangeError, match="stated twice"):
        check_evidence("comparison_panels", twice)


def test_no_other_procedure_is_known():
    with pytest.raises(OutOfRangeError, match="no procedure of looking by night"):
        check_evidence("by_feel", {})


def test_the_hit_rates_are_those_of_the_report():
    # WA-RD 140.1 (1987): 74 % of warning signs, 75 % of Stop signs.
    assert [(rate.row_id, rate.right_percent) for rate in hit_rates()] == [
        ("warning", Decimal(74)),
        ("stop", Decimal(75)),
    ]
    assert all(rate.is_verified for rate in hit_rates())


def test_what_was_only_remembered_is_marked_so():
    items = {item.row_id: item for each in NightProcedure for item in evidence_items(each)}
    read = {row_id for row_id, item in items.items() if item.checked is Checked.YES}
    assert read == {
        "comparison_panels/distance_ft",
        "comparison_panels/flashlight_close_to_head",
    }
    assert items["consistent_parameters/inspector_age_years"].checked is Checked.PARTIAL
    assert all(decision_of(each).words.startswith("replace") for each in NightProcedure)
    assert {item.kind for item in items.values()} == set(EvidenceKind)

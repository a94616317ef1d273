"""Which angles are let in, which readings are judged, and what their words are."""

from decimal import Decimal
from typing import Any

import pytest

from inventory.engineering.inspection.usability import (
    check_geometry,
    geometry_words,
    reason_not_judged,
)
from inventory.engineering.inspection.vocabulary import How, Severity, SurfaceState
from inventory.errors import OutOfRangeError
from inventory.models import Inspection, Observation


@pytest.mark.parametrize(
    ("observation", "entrance", "rotation"),
    [
        ("0.2", "-4.0", None),
        ("0.5", "-4.0", None),  # ASTM E2540
        ("0.2", "30", "0"),  # ASTM D4956 tables
        ("2.0", "60", "-180"),
        ("0.01", "-60", "180"),
    ],
)
def test_geometries_of_instruments_are_let_in(observation, entrance, rotation):
    check_geometry(
        Decimal(observation),
        Decimal(entrance),
        None if rotation is None else Decimal(rotation),
    )


@pytest.mark.parametrize(
    ("observation", "entrance", "rotation", "sentence"),
    [
        ("0", "-4.0", None, "Observation angle 0°"),
        ("-0.2", "-4.0", None, "Observation angle -0.2°"),
        ("2.01", "-4.0", None, "at most 2.0°"),
        ("0.2", "60.1", None, "Entrance angle 60.1°"),
        ("0.2", "-61", None, "within ±60°"),
        ("0.2", "-4.0", "180.5", "Rotation angle 180.5°"),
    ],
)
def test_angles_of_no_instrument_are_refused(observation, entrance, rotation, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        check_geometry(
            Decimal(observation),
            Decimal(entrance),
            None if rotation is None else Decimal(rotation),
        )


def test_only_instruments_at_the_geometry_of_the_levels_on_a_dry_face_are_judged():
    # Source: MUTCD 11th edition Table 2A-5 note 1; TRR 1844 (2003).
    judged = {
        (how, state, angle)
        for how in How
        for state in SurfaceState
        for angle in ("0.2", "0.20", "0.5")
        if not reason_not_judged(
            how=how,
            surface_state=state,
            observation_angle_deg=Decimal(angle),
            entrance_angle_deg=Decimal("-4.00"),
        )
    }
    assert {how for how, _, _ in judged} == {How.HAND_HELD, How.MOBILE}
    assert {state.value for _, state, _ in judged} == {"", "dry", "cleaned", "dirty"}
    assert {angle for _, _, angle in judged} == {"0.2", "0.20"}


def test_geometries_in_words():
    assert geometry_words(Decimal("0.20"), Decimal("-4.00")) == "0.2°/−4.0°"
    assert geometry_words(Decimal("0.33"), Decimal("40")) == "0.33°/40.0°"


def test_the_words_are_those_that_are_stored():
    assert {each.value for each in How} == set(Inspection.How.values)
    assert {each.value for each in SurfaceState} == set(Inspection.SurfaceState.values)
    assert {each.value for each in Severity} == set(Observation.Severity.values)


def test_a_doubt_is_the_reason_unless_no_person_could_settle_it():
    fields: dict[str, Any] = {
        "how": How.HAND_HELD,
        "observation_angle_deg": Decimal("0.2"),
        "entrance_angle_deg": Decimal("-4.0"),
        "doubt": "set aside on 2026-06-02: lens dirty",
    }
    dry = reason_not_judged(surface_state=SurfaceState.DRY, **fields)
    assert dry == "set aside on 2026-06-02: lens dirty"
    assert "dew" in reason_not_judged(surface_state=SurfaceState.DEW, **fields)

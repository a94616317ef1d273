"""An assessment's inputs as plain data, and back again: what is stored can be judged anew."""

import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from inventory.engineering.assessment.decision import DecisionRule
from inventory.engineering.assessment.face import (
    Colouring,
    Face,
    FaceArea,
    OwnLevel,
    Part,
    ReadingSet,
    Rules,
)
from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
from inventory.engineering.inspection.readings import parse_reading
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.catalogue import SignType, exact_sign_type
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    ExclusionKey,
    MountClass,
    Optics,
    Series,
    Shape,
    SymbolClass,
)
from inventory.errors import NoPublishedValueError


def facts_of(face: Face, readings: Iterable[ReadingSet], rules: Rules) -> dict[str, Any]:
    """
    Return everything a verdict rests on, as data that JSON can hold without loss.

    Parameters
    ----------
    face : Face
        As it was judged.
    readings : iterable of ReadingSet
        What was given to the judgement; values are kept with the decimals that were typed.
    rules : Rules
        As they were applied.

    Examples
    --------
    >>> facts = facts_of(Face(None), [], Rules(Edition.MUTCD_11))
    >>> facts["rules"]["edition"], facts["face"]["sign_type"]
    ('11th-2023', None)
    """
    return {
        "face": {
            "sign_type": None if face.sign_type is None else _type_facts(face.sign_type),
            "areas": [
                {
                    "part": area.part.value,
                    "color": None if area.color is None else area.color.value,
                    "sheeting_type": area.sheeting_type,
                    "optics": area.optics.value,
                    "colouring": area.colouring.value,
                }
                for area in face.areas
            ],
            "mount": None if face.mount is None else face.mount.value,
            "width_in": None if face.width_in is None else str(face.width_in),
            "height_in": None if face.height_in is None else str(face.height_in),
        },
        "readings": [
            {
                "color": each.color.value,
                "values": [str(value) for value in each.values],
                "taken_at": each.taken_at.isoformat(),
                "visit": each.visit,
                "how": each.how.value,
                "surface_state": each.surface_state.value,
                "observation_angle_deg": str(each.observation_angle_deg),
                "entrance_angle_deg": str(each.entrance_angle_deg),
                "doubt": each.doubt,
                "instrument": each.instrument,
            }
            for each in readings
        ],
        "rules": _rules_facts(rules.narrowed_to(face)),
    }


def from_facts(facts: Mapping[str, Any]) -> tuple[Face, tuple[ReadingSet, ...], Rules]:
    """
    Return the face, the readings and the rules that stored facts describe.

    Parameters
    ----------
    facts : mapping
        From :func:`facts_of`, after a journey through JSON.

    Raises
    ------
    NoPublishedValueError
        If the catalogue no longer has the code that was judged.

    Examples
    --------
    >>> rules = Rules(Edition.MUTCD_2009, excluded_groups=frozenset({ExclusionKey.PARKING}))
    >>> from_facts(facts_of(Face(None), [], rules)) == (Face(None), (), rules)
    True
    """
    face = facts["face"]
    rules = facts["rules"]
    return (
        Face(
            sign_type=None if face["sign_type"] is None else _type_of(face["sign_type"]),
            areas=tuple(
                FaceArea(
                    part=Part(area["part"]),
                    color=None if area["color"] is None else Color(area["color"]),
                    sheeting_type=area["sheeting_type"],
                    optics=Optics(area["optics"]),
                    colouring=Colouring(area["colouring"]),
                )
                for area in face["areas"]
            ),
            mount=None if face["mount"] is None else MountClass(face["mount"]),
            width_in=None if face["width_in"] is None else Decimal(face["width_in"]),
            height_in=None if face["height_in"] is None else Decimal(face["height_in"]),
        ),
        tuple(
            ReadingSet(
                color=Color(each["color"]),
                values=tuple(parse_reading(value) for value in each["values"]),
                taken_at=datetime.fromisoformat(each["taken_at"]),
                visit=each["visit"],
                how=How(each["how"]),
                surface_state=SurfaceState(each["surface_state"]),
                observation_angle_deg=Decimal(each["observation_angle_deg"]),
                entrance_angle_deg=Decimal(each["entrance_angle_deg"]),
                doubt=each["doubt"],
                instrument=each["instrument"],
            )
            for each in facts["readings"]
        ),
        _rules_of(rules),
    )


def _rules_facts(rules: Rules) -> dict[str, Any]:
    stated = rules.uncertainty
    return {
        "edition": rules.edition.value,
        "uses_recommended_levels": rules.uses_recommended_levels,
        "excluded_groups": sorted(key.value for key in rules.excluded_groups),
        "required_probability": rules.decision_rule.required_probability,
        "uncertainty": {
            "repeatability_rel": stated.repeatability_rel,
            "common_rel": stated.common_rel,
            "single_scatter_rel": stated.single_scatter_rel,
            "single_scatter_dof": (
                None if math.isinf(stated.single_scatter_dof) else stated.single_scatter_dof
            ),
            "basis": stated.basis,
        },
        "fluorescent_yellow_basis": rules.fluorescent_yellow_basis,
        "fluorescent_orange_basis": rules.fluorescent_orange_basis,
        "own_levels": [
            {
                "background": each.background.value,
                "legend": each.legend.value,
                "color": each.color.value,
                "minimum_ra_cd_lx_m2": str(each.minimum_ra_cd_lx_m2),
                "basis": each.basis,
                "approved_by": each.approved_by,
                "approved_on": each.approved_on.isoformat(),
                "effective_on": each.effective_on.isoformat(),
            }
            for each in rules.own_levels
        ],
    }


def _rules_of(rules: Mapping[str, Any]) -> Rules:
    stated = rules["uncertainty"]
    dof = stated["single_scatter_dof"]
    return Rules(
        edition=Edition(rules["edition"]),
        uses_recommended_levels=rules["uses_recommended_levels"],
        excluded_groups=frozenset(ExclusionKey(key) for key in rules["excluded_groups"]),
        decision_rule=DecisionRule(rules["required_probability"]),
        uncertainty=InstrumentUncertainty(
            repeatability_rel=stated["repeatability_rel"],
            common_rel=stated["common_rel"],
            single_scatter_rel=stated["single_scatter_rel"],
            basis=stated["basis"],
            single_scatter_dof=math.inf if dof is None else dof,
        ),
        fluorescent_yellow_basis=rules["fluorescent_yellow_basis"],
        fluorescent_orange_basis=rules["fluorescent_orange_basis"],
        own_levels=tuple(
            OwnLevel(
                background=Color(each["background"]),
                legend=Color(each["legend"]),
                color=Color(each["color"]),
                minimum_ra_cd_lx_m2=Decimal(each["minimum_ra_cd_lx_m2"]),
                basis=each["basis"],
                approved_by=each["approved_by"],
                approved_on=date.fromisoformat(each["approved_on"]),
                effective_on=date.fromisoformat(each["effective_on"]),
            )
            for each in rules["own_levels"]
        ),
    )


def _type_facts(sign_type: SignType) -> dict[str, Any]:
    """Return a catalogued type by its code, an agency's own in full: it may change."""
    if not sign_type.is_local:
        return {"code": sign_type.code}
    return {
        "code": sign_type.code,
        "own": {
            "name": sign_type.name,
            "series": sign_type.series.value,
            "shape": _text(sign_type.shape),
            "background": _text(sign_type.background),
            "legend": _text(sign_type.legend),
            "symbol_class": _text(sign_type.symbol_class),
            "is_plaque": sign_type.is_plaque,
        },
    }


def _text(word: Shape | Color | SymbolClass | None) -> str | None:
    return None if word is None else word.value


def _type_of(facts: Mapping[str, Any]) -> SignType:
    own = facts.get("own")
    if own is None:
        found = exact_sign_type(facts["code"])
        if found is None:
            msg = (
                f"The catalogue no longer has '{facts['code']}', which this assessment was "
                "made with; put the code back to judge it anew."
            )
            raise NoPublishedValueError(msg)
        return found
    return local_sign_type(
        code=facts["code"],
        name=own["name"],
        series=Series(own["series"]),
        shape=own["shape"] and Shape(own["shape"]),
        background=own["background"] and Color(own["background"]),
        legend=own["legend"] and Color(own["legend"]),
        symbol_class=own["symbol_class"] and SymbolClass(own["symbol_class"]),
        is_plaque=own["is_plaque"],
    )

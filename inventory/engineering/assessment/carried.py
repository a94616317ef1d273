"""What a phone carries to judge a face without a connection, as data that JSON can hold.

Which rows could apply, what is left out and what is not known is settled here, once; the phone
only compares what is read with what it carries.
"""

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from inventory.engineering.assessment.assess import METHOD_VERSION
from inventory.engineering.assessment.elements import ElementPlan
from inventory.engineering.assessment.face import Face, ReadingSet, Rules
from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.assessment.plan import plan_face
from inventory.engineering.inspection.readings import RECOMMENDED_READING_COUNT
from inventory.engineering.inspection.usability import (
    JUDGED_ENTRANCE_ANGLE_DEG,
    JUDGED_OBSERVATION_ANGLE_DEG,
    reason_not_judged,
)
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.tables import find_table_source
from inventory.engineering.standards.vocabulary import Color, Edition

CARRIED_VERSION = 1
KEY_LENGTH = 16
_BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_OWN_LEVEL_WORDS = "the agency's own level"


def carry_plan(face: Face, rules: Rules) -> dict[str, Any]:
    """
    Return what is to be judged on a face, with every row that could apply.

    Parameters
    ----------
    face : Face
        As it is recorded.
    rules : Rules
        The agency's edition and choices.

    Returns
    -------
    dict
        The plan of :func:`~inventory.engineering.assessment.plan.plan_face` in full; levels
        are whole thousandths of cd/lx/m² or of a ratio, ``None`` where the row prohibits the
        sheeting.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) section 2A.22 and Table 2A-5.
    .. [2] MUTCD 2009 section 2A.08 and Table 2A-3.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> plan = carry_plan(Face(find_sign_type("R1-1")[0]), Rules(Edition.MUTCD_11))
    >>> [(each["name"], each["candidates"][0]["level"]) for each in plan["elements"]]
    [('white', 35000), ('red', 7000), ('white/red', 3000)]
    """
    plan = plan_face(face, rules.narrowed_to(face))
    return {
        "v": CARRIED_VERSION,
        "method_version": METHOD_VERSION,
        "excluded": plan.excluded,
        "not_known": plan.not_known,
        "notes": list(plan.notes),
        "elements": [_element(each) for each in plan.elements],
    }


def plan_key(plan: Mapping[str, Any]) -> str:
    """
    Return a short name for a carried plan; equal plans have the same one.

    Parameters
    ----------
    plan : mapping
        From :func:`carry_plan`.

    Examples
    --------
    >>> rules = Rules(Edition.MUTCD_11)
    >>> len(plan_key(carry_plan(Face(None), rules)))
    16
    """
    text = json.dumps(plan, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:KEY_LENGTH]


def carry_rules(rules: Rules) -> dict[str, Any]:
    """
    Return how an agency decides, and which readings are not judged and why.

    Parameters
    ----------
    rules : Rules
        The agency's edition and choices.

    Returns
    -------
    dict
        The decision rule, the stated uncertainty of instruments (shares of the reading; degrees
        of freedom ``None`` where they are infinite), the geometry of the levels in degrees,
        the reasons of
        :func:`~inventory.engineering.inspection.usability.reason_not_judged` by way of
        inspecting and by state of the face, and the words the reasons of a verdict need.

    References
    ----------
    .. [1] JCGM 106:2012, 8.2 and 8.3: simple acceptance and guard bands.
    .. [2] MUTCD 11th edition (2023) Table 2A-5, note 1: levels at 0.2° and −4.0°.

    Examples
    --------
    >>> carried = carry_rules(Rules(Edition.MUTCD_11))
    >>> carried["rule"], carried["not_judged"]["how"]["visual_day"]
    ({'kind': 'simple', 'required_probability': None}, 'looked at by day, not measured')
    """
    required = rules.decision_rule.required_probability
    stated = rules.uncertainty
    dof = stated.single_scatter_dof
    return {
        "edition": rules.edition.value,
        "edition_words": rules.edition.words,
        "method_version": METHOD_VERSION,
        "rule": {
            "kind": "simple" if required is None else "guarded",
            "required_probability": required,
        },
        "uncertainty": {
            "repeatability_rel": stated.repeatability_rel,
            "common_rel": stated.common_rel,
            "single_scatter_rel": stated.single_scatter_rel,
            "single_scatter_dof": None if math.isinf(dof) else dof,
        },
        "usual_reading_count": RECOMMENDED_READING_COUNT,
        "geometry": {
            "observation_angle_deg": str(JUDGED_OBSERVATION_ANGLE_DEG),
            "entrance_angle_deg": str(JUDGED_ENTRANCE_ANGLE_DEG),
        },
        "not_judged": {
            "how": {each.value: _reason(how=each) for each in How},
            "surface_state": {each.value: _reason(surface_state=each) for each in SurfaceState},
        },
        "color_words": {each.value: each.words for each in Color},
        "recommended_by": Edition.MUTCD_2009_RECOMMENDED.words,
        "agency_table": AGENCY_LEVEL_TABLE,
    }


def carry_readings(sets: Iterable[ReadingSet]) -> list[dict[str, Any]]:
    """
    Return sets of readings as the phone judges them beside what it reads itself.

    Parameters
    ----------
    sets : iterable of ReadingSet
        What :func:`~inventory.engineering.assessment.face.select_readings` gives is enough;
        times are those of the agency's clock.

    Returns
    -------
    list of dict
        Values and angles as they were typed; ``at_us`` in microseconds since 1970 and ``day``
        of the agency's calendar.

    Examples
    --------
    >>> from decimal import Decimal
    >>> day = datetime(2026, 5, 1, tzinfo=UTC)
    >>> (read,) = carry_readings([ReadingSet(Color.RED, (Decimal("9.0"),), day, 1)])
    >>> read["values"], read["day"], read["at_us"]
    (['9.0'], '2026-05-01', 1777593600000000)
    """
    return [
        {
            "color": each.color.value,
            "values": [str(value) for value in each.values],
            "at_us": (each.taken_at - _BEGINNING) // _MICROSECOND,
            "day": f"{each.taken_at:%Y-%m-%d}",
            "visit": each.visit,
            "how": each.how.value,
            "surface_state": each.surface_state.value,
            "observation_angle_deg": str(each.observation_angle_deg),
            "entrance_angle_deg": str(each.entrance_angle_deg),
            "doubt": each.doubt,
            "instrument_id": each.instrument,
        }
        for each in sets
    ]


def _element(plan: ElementPlan) -> dict[str, Any]:
    return {
        "kind": plan.kind.value,
        "color": plan.color.value,
        "denominator": None if plan.denominator is None else plan.denominator.value,
        "name": plan.name,
        "words": plan.words,
        "candidates": [
            {
                "level": row.level,
                "table_id": row.table_id,
                "row_id": row.row_id,
                "checked": row.checked.value,
                "place": list(row.place),
            }
            for row in plan.candidates
        ],
        "no_level": plan.no_level,
        "not_known": plan.not_known,
        "unknown": [[axis.value, words] for axis, words in plan.unknown],
        "unverified": list(plan.unverified),
        "decides": plan.decides,
        "is_recommended": plan.is_recommended,
        "is_own_level": plan.is_own_level,
        "agency_words": plan.agency_words,
        "table_words": _table_words(plan),
    }


def _table_words(plan: ElementPlan) -> str:
    """Return where the level is printed; one of the agency's own is printed nowhere."""
    if not plan.candidates:
        return ""
    table_id = plan.candidates[0].table_id
    if table_id == AGENCY_LEVEL_TABLE:
        return _OWN_LEVEL_WORDS
    return find_table_source(table_id).published_table


def _reason(*, how: How = How.HAND_HELD, surface_state: SurfaceState = SurfaceState.DRY) -> str:
    """Return why readings taken so are not judged, were everything else in order."""
    return reason_not_judged(
        how=how,
        surface_state=surface_state,
        observation_angle_deg=JUDGED_OBSERVATION_ANGLE_DEG,
        entrance_angle_deg=JUDGED_ENTRANCE_ANGLE_DEG,
    )

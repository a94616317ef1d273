"""Whether a set of readings may be judged against the maintained levels, and if not, why."""

from decimal import Decimal

from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.errors import OutOfRangeError

# The geometry of the maintained levels: MUTCD 11th edition Table 2A-5, note 1.
JUDGED_OBSERVATION_ANGLE_DEG = Decimal("0.2")
JUDGED_ENTRANCE_ANGLE_DEG = Decimal("-4.0")
MAXIMUM_OBSERVATION_ANGLE_DEG = Decimal("2.0")
MAXIMUM_ENTRANCE_ANGLE_DEG = Decimal(60)
MAXIMUM_ROTATION_ANGLE_DEG = Decimal(180)

_MOISTURE_REASONS = {
    SurfaceState.DAMP: "the face was damp, and moisture on a face lowers what it returns (dew: "
    "mean reduction 60 %, TRR 1844, 2003)",
    SurfaceState.DEW: "dew was on the face (mean reduction 60 %, TRR 1844, 2003)",
    SurfaceState.FROST: "frost was on the face (mean reduction 79 %, TRR 1844, 2003)",
}


def check_geometry(
    observation_angle_deg: Decimal,
    entrance_angle_deg: Decimal,
    rotation_angle_deg: Decimal | None = None,
) -> None:
    """
    Refuse angles that no portable sign instrument has.

    Other angles than those of the levels are let pass: such readings are kept and shown, and
    :func:`reason_not_judged` says why they are not judged.

    Parameters
    ----------
    observation_angle_deg : Decimal
        Over 0, at most 2. [°]
    entrance_angle_deg : Decimal
        −60 to 60. [°]
    rotation_angle_deg : Decimal, optional
        −180 to 180. [°]

    Raises
    ------
    OutOfRangeError
        If an angle is outside these bounds (common practice, no source).

    Examples
    --------
    >>> check_geometry(Decimal("0.5"), Decimal("-4.0"))
    >>> check_geometry(Decimal("20"), Decimal("-4.0"))
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: Observation angle 20° is no sign instrument's; it is over
    0 and at most 2.0°. The levels are for 0.2°.
    """
    if not 0 < observation_angle_deg <= MAXIMUM_OBSERVATION_ANGLE_DEG:
        msg = (
            f"Observation angle {observation_angle_deg}° is no sign instrument's; it is over 0 "
            f"and at most {MAXIMUM_OBSERVATION_ANGLE_DEG}°. The levels are for "
            f"{JUDGED_OBSERVATION_ANGLE_DEG}°."
        )
        raise OutOfRangeError(msg)
    if not abs(entrance_angle_deg) <= MAXIMUM_ENTRANCE_ANGLE_DEG:
        msg = (
            f"Entrance angle {entrance_angle_deg}° is no sign instrument's; it is within "
            f"±{MAXIMUM_ENTRANCE_ANGLE_DEG}°. The levels are for {JUDGED_ENTRANCE_ANGLE_DEG}°."
        )
        raise OutOfRangeError(msg)
    if rotation_angle_deg is not None and not (
        abs(rotation_angle_deg) <= MAXIMUM_ROTATION_ANGLE_DEG
    ):
        msg = (
            f"Rotation angle {rotation_angle_deg}° is not an angle of rotation; it is within "
            f"±{MAXIMUM_ROTATION_ANGLE_DEG}°."
        )
        raise OutOfRangeError(msg)


def reason_not_judged(
    *,
    how: How,
    surface_state: SurfaceState,
    observation_angle_deg: Decimal,
    entrance_angle_deg: Decimal,
    doubt: str = "",
) -> str:
    """
    Return why readings are kept and shown but not judged; empty when they are judged.

    Parameters
    ----------
    how : How
        How the inspection was made.
    surface_state : SurfaceState
        The state of the face while it was read. Not recorded, dry, cleaned and dirty are
        judged.
    observation_angle_deg, entrance_angle_deg : Decimal
        The geometry of the readings. [°]
    doubt : str
        What is held against the instrument and not settled, or why a person set the readings
        aside, in the words of :mod:`~inventory.engineering.inspection.instruments`; empty when
        there is nothing.

    Returns
    -------
    str
        Part of a sentence without capital or full stop, or empty.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, note 1: levels at 0.2° and −4.0°.
    .. [2] TRR 1844 (2003) pp. 79-84, abstract: dew and frost lower R_A by 60 % and 79 % on
       average.

    Examples
    --------
    >>> reason_not_judged(
    ...     how=How.HAND_HELD,
    ...     surface_state=SurfaceState.DRY,
    ...     observation_angle_deg=Decimal("0.5"),
    ...     entrance_angle_deg=Decimal("-4.0"),
    ... )
    'read at 0.5°/−4.0°; the levels are for 0.2°/−4.0°'
    """
    if not how.is_instrument:
        return f"{how.words}, not measured"
    if (
        observation_angle_deg != JUDGED_OBSERVATION_ANGLE_DEG
        or entrance_angle_deg != JUDGED_ENTRANCE_ANGLE_DEG
    ):
        read_at = geometry_words(observation_angle_deg, entrance_angle_deg)
        wanted = geometry_words(JUDGED_OBSERVATION_ANGLE_DEG, JUDGED_ENTRANCE_ANGLE_DEG)
        return f"read at {read_at}; the levels are for {wanted}"
    # What no person can settle is named first.
    return _MOISTURE_REASONS.get(surface_state, "") or doubt


def geometry_words(observation_angle_deg: Decimal, entrance_angle_deg: Decimal) -> str:
    """
    Return a geometry as it is written on instruments.

    Examples
    --------
    >>> geometry_words(Decimal("0.20"), Decimal("-4.00"))
    '0.2°/−4.0°'
    """
    return f"{_angle(observation_angle_deg)}°/{_angle(entrance_angle_deg)}°"


def _angle(value: Decimal) -> str:
    tenth = value.quantize(Decimal("0.1"))
    return str(tenth if tenth == value else value).replace("-", "−")

"""Which way a sign looks: compass letters, bearings, and the two conventions in use."""

from inventory.errors import OutOfRangeError

COMPASS_BEARINGS_DEG = {
    name: 22.5 * i
    for i, name in enumerate(
        "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW".split()  # noqa: SIM905 - a rose reads better
    )
}


def normalise_bearing_deg(bearing: float) -> float:
    """
    Return a bearing brought into 0 up to, not including, 360 degrees.

    Examples
    --------
    >>> normalise_bearing_deg(-90.0)
    270.0
    """
    result = bearing % 360.0
    return 0.0 if result == 360.0 else result


def compass_to_bearing_deg(letters: str) -> float:
    """
    Return the true bearing of a compass point of the 16-point rose.

    Parameters
    ----------
    letters : str
        For example ``"NE"``; case and surrounding blanks do not matter.

    Raises
    ------
    OutOfRangeError
        If the letters are not one of the 16 points.

    Examples
    --------
    >>> compass_to_bearing_deg("sw")
    225.0
    """
    key = letters.strip().upper()
    if key not in COMPASS_BEARINGS_DEG:
        msg = (
            f"'{letters}' is not a compass point; use one of {', '.join(COMPASS_BEARINGS_DEG)}."
        )
        raise OutOfRangeError(msg)
    return COMPASS_BEARINGS_DEG[key]


def facing_from_traffic_deg(travel_bearing: float) -> float:
    """
    Return the way a front looks, given the direction of the traffic it serves.

    A sign read by northbound traffic looks south.

    Examples
    --------
    >>> facing_from_traffic_deg(0.0)
    180.0
    """
    return normalise_bearing_deg(travel_bearing + 180.0)

"""
The short id on a face's back: easy to read out, to type with gloves, and to catch when wrong.

An id is a serial number in 32 figures and letters, with one check character at the end. The
letters I, L, O and U are left out (I and L look like 1, O like 0), the set of symbols being
that of D. Crockford's base 32. The check character follows the hybrid systems of ISO/IEC
7064, of which MOD 11,10 and MOD 37,36 are published; here the number of characters is 32, so
that the check character is itself one of the 32.
"""

from collections.abc import Sequence

from inventory.errors import OutOfRangeError

LABEL_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
BODY_LENGTH = 5
GROUP_LENGTH = 3
MAXIMUM_SERIAL = 32**10 - 1  # ten characters and the check: more than fits on a small label

_LOOKALIKES = str.maketrans({"I": "1", "L": "1", "O": "0"})
_IGNORED = str.maketrans("", "", " -–—\t\n\r")


def hybrid_check(values: Sequence[int], character_count: int) -> int:
    """
    Return the check value of a string by the hybrid system MOD (M + 1), M.

    Parameters
    ----------
    values : sequence of int
        The position of each character in its alphabet, 0 to M − 1.
    character_count : int
        M, the number of characters of the alphabet.

    Returns
    -------
    int
        The position of the check character, 0 to M − 1.

    Raises
    ------
    OutOfRangeError
        If a value is no position in the alphabet.

    References
    ----------
    .. [1] ISO/IEC 7064:2003, hybrid systems (clause 9 and its formula from memory).

    Examples
    --------
    The standard's example for MOD 11,10, 0794 with check digit 5:

    >>> hybrid_check([0, 7, 9, 4], 10)
    5
    """
    carried = character_count
    for value in values:
        if not 0 <= value < character_count:
            msg = f"Position {value} is not in an alphabet of {character_count} characters."
            raise OutOfRangeError(msg)
        summed = (carried + value) % character_count or character_count
        carried = summed * 2 % (character_count + 1)
    return (character_count + 1 - carried) % character_count


def make_label(serial: int) -> str:
    """
    Return the id that a serial number is written as on a label.

    Parameters
    ----------
    serial : int
        A number no other face has, 1 to 32¹⁰ − 1.

    Returns
    -------
    str
        Five or more characters and the check character, in groups of three.

    Raises
    ------
    OutOfRangeError
        If the serial number is out of range.

    Examples
    --------
    >>> make_label(1), make_label(1042)
    ('000-01Y', '001-0JK')
    """
    if not 1 <= serial <= MAXIMUM_SERIAL:
        msg = f"Serial number {serial} cannot be put on a label; it is 1 to {MAXIMUM_SERIAL}."
        raise OutOfRangeError(msg)
    values: list[int] = []
    rest = serial
    while rest or len(values) < BODY_LENGTH:
        rest, value = divmod(rest, len(LABEL_ALPHABET))
        values.append(value)
    values.reverse()
    values.append(hybrid_check(values, len(LABEL_ALPHABET)))
    return _grouped("".join(LABEL_ALPHABET[value] for value in values))


def read_label(typed: str) -> str:
    """
    Return a typed or scanned id as it stands on the label.

    Case, blanks and hyphens do not matter; I and L are taken for 1, O for 0.

    Parameters
    ----------
    typed : str
        What was typed or scanned.

    Returns
    -------
    str
        The id as :func:`make_label` writes it.

    Raises
    ------
    OutOfRangeError
        If the text is too short, holds another character, or its check character does not fit.

    Examples
    --------
    >>> read_label("oo1 ojk")
    '001-0JK'
    >>> read_label("001-0JM")
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: '001-0JM' is not a label id: its last character does not
    fit the rest, so one character is wrong. Compare it with the label and type it again.
    """
    shown = typed.strip()
    text = shown.upper().translate(_IGNORED).translate(_LOOKALIKES)
    if len(text) <= BODY_LENGTH:
        msg = (
            f"'{shown}' is too short for a label id; it has at least {BODY_LENGTH + 1} figures "
            "and letters, such as 001-0JK."
        )
        raise OutOfRangeError(msg)
    strange = next((each for each in text if each not in LABEL_ALPHABET), None)
    if strange is not None:
        msg = (
            f"'{shown}' is not a label id: '{strange}' is never part of one. Compare it with "
            "the label and type it again."
        )
        raise OutOfRangeError(msg)
    values = [LABEL_ALPHABET.index(each) for each in text]
    if hybrid_check(values[:-1], len(LABEL_ALPHABET)) != values[-1]:
        msg = (
            f"'{shown}' is not a label id: its last character does not fit the rest, so one "
            "character is wrong. Compare it with the label and type it again."
        )
        raise OutOfRangeError(msg)
    return _grouped(text)


def _grouped(text: str) -> str:
    return "-".join(text[at : at + GROUP_LENGTH] for at in range(0, len(text), GROUP_LENGTH))

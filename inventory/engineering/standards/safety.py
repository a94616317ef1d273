"""The order in which signs are looked after, by code: class 1 first."""

import re
from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.catalogue import SignType
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Checked

SAFETY_FILE = "safety_classes.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class SafetyClass(PublishedRow):
    """A safety class, 1 (first) to 4, with the reason; a starting point for an agency's own."""

    number: int
    reason: str


@cache
def safety_class_rows() -> dict[str, SafetyClass]:
    """Return the rules, keyed by what they match, such as ``"code/R1-1"``."""
    return {
        row.text("row_id"): SafetyClass(
            **row.published(),
            number=int(row.decimal("safety_class")),
            reason=row.text("reason"),
        )
        for row in read_table(SAFETY_FILE).rows
    }


@cache
def remaining_class() -> SafetyClass:
    """Return the class of every sign that no rule names: guide signs and the rest."""
    table = read_table(SAFETY_FILE)
    basis = table.bases[table.head["default_basis"]]
    return SafetyClass(
        table_id=table.source.table_id,
        row_id="default",
        checked=Checked(table.head["default_checked"]),
        source=basis["source"],
        verification=basis["verification"],
        number=int(table.head["default_class"]),
        reason="guide signs and the rest",
    )


def safety_class(sign_type: SignType) -> SafetyClass:
    """
    Return the safety class of a sign type.

    Parameters
    ----------
    sign_type : SignType
        A catalogued type goes by its code; an agency's own by its series.

    Returns
    -------
    SafetyClass
        1 Stop, Yield, Do Not Enter, Wrong Way; 2 other regulatory and critical warning;
        3 other warning; 4 guide and the rest.

    References
    ----------
    .. [1] Cornell Local Roads Program, What signs should we replace first?

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> codes = ("R1-1", "W1-2", "W8-1", "D1-1")
    >>> [safety_class(find_sign_type(code)[0]).number for code in codes]
    [1, 2, 3, 4]
    """
    rules = safety_class_rows()
    if sign_type.is_local:
        keys = [f"series/{sign_type.series.value}"]
    else:
        family = sign_type.code.split("-", 1)[0]
        letters = re.match(r"[A-Z]*", family)
        keys = [
            f"code/{sign_type.code}",
            f"family/{family}",
            f"letters/{letters.group() if letters else ''}",
        ]
    for key in keys:
        if key in rules:
            return rules[key]
    return remaining_class()

"""Signs an agency may leave out of its retroreflectivity method: an option, never a rule."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.catalogue import SignType
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Color, Edition, ExclusionKey

EXCLUSION_FILES = {
    Edition.MUTCD_2009: "exclusions_2009.toml",
    Edition.MUTCD_11: "exclusions_11th_2023.toml",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ExclusionClause(PublishedRow):
    """One clause of the option; ``may_exclude`` is false where an edition dropped it."""

    edition: Edition
    key: ExclusionKey
    codes: str
    description: str
    may_exclude: bool


@dataclass(frozen=True, slots=True)
class Exclusion:
    """
    A clause that covers a sign.

    ``needs_confirmation`` is true where the code alone does not settle it (a bikeway sign goes
    by its placement; some codes are in a series by number only): the sign stays in the method
    until the agency says otherwise.
    """

    clause: ExclusionClause
    needs_confirmation: bool
    caution: str


@cache
def exclusion_clauses(edition: Edition) -> tuple[ExclusionClause, ...]:
    """Return the clauses of an edition, dropped ones among them."""
    return tuple(
        ExclusionClause(
            **row.published(),
            edition=edition.manual,
            key=ExclusionKey(row.text("key")),
            codes=row.optional_text("codes"),
            description=row.text("description"),
            may_exclude=row.flag("may_exclude"),
        )
        for row in read_table(EXCLUSION_FILES[edition.manual]).rows
    )


def exclusion_for(
    edition: Edition, sign_type: SignType | None, background: Color | None = None
) -> Exclusion | None:
    """
    Return the clause under which an agency may leave a sign out of its method, if any.

    Whether it does is the agency's own policy; this only says that the edition allows it.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    sign_type : SignType or None
        The type of the sign; ``None`` when it is not known.
    background : Color, optional
        The face's own background; ``None`` takes the sign type's.

    Returns
    -------
    Exclusion or None
        A clause that needs no confirmation comes before one that does.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) section 2A.22 paragraph 5.
    .. [2] MUTCD 2009 section 2A.08; FHWA memorandum of 5 April 2012 for blue and brown.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> exclusion_for(Edition.MUTCD_11, find_sign_type("R7-1")[0]).clause.key.value
    'parking-standing-stopping'
    >>> exclusion_for(Edition.MUTCD_11, find_sign_type("R1-1")[0]) is None
    True
    """
    clauses = {
        clause.key: clause for clause in exclusion_clauses(edition) if clause.may_exclude
    }
    found: list[Exclusion] = []
    if sign_type is not None and sign_type.exclusion_key in clauses:
        found.append(
            Exclusion(
                clauses[sign_type.exclusion_key],
                sign_type.exclusion_needs_confirmation,
                sign_type.exclusion_note if sign_type.exclusion_needs_confirmation else "",
            )
        )
    if background is None and sign_type is not None:
        background = sign_type.background
    if background in (Color.BLUE, Color.BROWN) and ExclusionKey.BLUE_OR_BROWN in clauses:
        found.append(Exclusion(clauses[ExclusionKey.BLUE_OR_BROWN], False, ""))
    return min(found, key=lambda each: each.needs_confirmation, default=None)

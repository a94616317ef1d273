"""Which elements of a face are judged, and by which rows of the published tables.

A plan follows from the face and the rules alone, before anything is read: equal faces share
one. What is not known of the face leaves several candidate rows for an element, each of which
is judged.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache

from inventory.engineering.assessment.columns import Columns, find_columns
from inventory.engineering.assessment.elements import (
    Axis,
    Candidate,
    ElementKind,
    ElementPlan,
    FacePlan,
)
from inventory.engineering.assessment.face import Face, Part, Rules
from inventory.engineering.assessment.own_levels import (
    find_own_level,
    fluorescent_words,
    not_decided_words,
    own_element,
    plan_without_row,
)
from inventory.engineering.inspection.readings import to_thousandths
from inventory.engineering.standards.bold_symbols import SymbolClassMark, find_symbol_class
from inventory.engineering.standards.exclusions import EXCLUSION_FILES, exclusion_for
from inventory.engineering.standards.levels import MinimumLevel, minimum_levels, size_criteria
from inventory.engineering.standards.placement import Placement, find_placement
from inventory.engineering.standards.special_cases import (
    ElementMinimum,
    criterion_dimension_in,
    special_minimums,
)
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    Edition,
    SheetingClass,
    SignColors,
    SymbolClass,
    weakest,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError

ALL_SHEETING_CLASSES = tuple(SheetingClass)
_PLANS_KEPT = 8192


@dataclass(slots=True)
class _Look:
    """What the rows are looked up by, worked out once for a face."""

    face: Face
    rules: Rules
    background: Color | None
    legend: Color | None
    symbol: SymbolClassMark | None
    dimension_in: Decimal | None
    unknown_size: str = field(default="")


@lru_cache(maxsize=_PLANS_KEPT)
def plan_face(face: Face, rules: Rules) -> FacePlan:
    """
    Return what is to be judged on a face under an agency's rules.

    Parameters
    ----------
    face : Face
        As it is recorded.
    rules : Rules
        The agency's edition and choices.

    Returns
    -------
    FacePlan
        The elements in the order of the published table, the contrast last among those of the
        table, then the special minimums of the code, then colours without a level.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) section 2A.22 and Table 2A-5.
    .. [2] MUTCD 2009 section 2A.08 and Table 2A-3.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> plan = plan_face(Face(find_sign_type("R1-1")[0]), Rules(Edition.MUTCD_11))
    >>> [element.name for element in plan.elements]
    ['white', 'red', 'white/red']
    """
    look = _look(face, rules)
    excluded, notes = _exclusion(look)
    if excluded:
        return FacePlan(excluded=excluded)
    if _is_object_marker(face):
        sentence = "No level is published: the tables have no row for object markers."
        return FacePlan(_without_row(look, sentence), notes=notes)
    if look.background is None or look.legend is None:
        return _plan_of_unknown_colors(look, notes)
    try:
        placement = find_placement(look.background, look.legend, face.sign_type)
        rows, is_recommended = _level_rows(look, placement)
    except NoPublishedValueError as reason:
        return FacePlan(_without_row(look, str(reason)), notes=notes)
    elements = _table_elements(look, placement, rows, is_recommended)
    elements += _special_elements(look)
    elements += _further_colors(look, placement.sign_colors, elements)
    return FacePlan(tuple(elements), notes=notes)


def _look(face: Face, rules: Rules) -> _Look:
    symbol = dimension = None
    if face.sign_type is not None:
        symbol = find_symbol_class(rules.edition, face.sign_type)
    shape = face.sign_type.shape if face.sign_type is not None else None
    dimension = criterion_dimension_in(rules.edition, shape, face.width_in, face.height_in)
    symbol_class = symbol.symbol_class if symbol is not None else None
    missing = [
        word
        for word, is_missing in (
            ("size", dimension is None),
            ("symbol class", symbol_class is None),
        )
        if is_missing
    ]
    return _Look(
        face, rules, face.background, face.legend, symbol, dimension, " and ".join(missing)
    )


def _is_object_marker(face: Face) -> bool:
    return face.sign_type is not None and face.sign_type.symbol_class is SymbolClass.NONE


def _exclusion(look: _Look) -> tuple[str, tuple[str, ...]]:
    """Return why the agency leaves the sign out, or what keeps it in although a clause fits."""
    exclusion = exclusion_for(look.rules.edition, look.face.sign_type, look.background)
    if exclusion is None or exclusion.clause.key not in look.rules.excluded_groups:
        return "", ()
    clause = exclusion.clause
    section = read_table(EXCLUSION_FILES[look.rules.edition.manual]).source.published_table
    subject = clause.description[0].lower() + clause.description[1:]
    where = f"{look.rules.edition.manual.value} edition, {section}: {subject}"
    if exclusion.needs_confirmation:
        caution = f" ({exclusion.caution})" if exclusion.caution else ""
        return "", (
            f"It could be left out under the {where}, once confirmed for this sign{caution}.",
        )
    return f"Left out by the agency's choice under the {where}.", ()


def _known_colors(look: _Look) -> list[Color]:
    """Return the retroreflective colours of a face, background and legend first."""
    colors = [look.background, look.legend, *(area.color for area in look.face.areas)]
    if look.face.sign_type is not None and not look.face.has_part(Part.SECONDARY):
        colors += look.face.sign_type.secondary
    opaque = {area.color for area in look.face.areas if not area.is_retroreflective}
    lit = {area.color for area in look.face.areas if area.is_retroreflective}
    unlit = {Color.BLACK, None} | (opaque - lit)
    return [
        color for color in dict.fromkeys(colors) if color is not None and color not in unlit
    ]


def _without_row(look: _Look, sentence: str) -> tuple[ElementPlan, ...]:
    pair = (look.background, look.legend)
    return plan_without_row(look.rules, pair, _known_colors(look), sentence)


def _plan_of_unknown_colors(look: _Look, notes: tuple[str, ...]) -> FacePlan:
    """Return a plan that cannot be decided: some pairs have a row, others have none."""
    missing = " and ".join(
        part.value
        for part, color in (
            (Part.BACKGROUND, look.background),
            (Part.LEGEND, look.legend),
        )
        if color is None
    )
    not_known = f"{missing} colour not known"
    return FacePlan(
        tuple(
            ElementPlan(ElementKind.COLOR, color, not_known=not_known)
            for color in _known_colors(look)
        ),
        not_known=not_known,
        notes=notes,
    )


def _level_rows(look: _Look, placement: Placement) -> tuple[tuple[MinimumLevel, ...], bool]:
    """Return every row of the face's pair, and whether they are recommended only."""

    def rows_of(edition: Edition) -> tuple[MinimumLevel, ...]:
        return minimum_levels(
            edition,
            placement,
            mount=look.face.mount,
            sheeting_classes=ALL_SHEETING_CLASSES,
            symbol_class=look.symbol.symbol_class if look.symbol is not None else None,
            dimension_in=look.dimension_in,
        )

    is_open = placement.sign_colors in (SignColors.WHITE_ON_BLUE, SignColors.WHITE_ON_BROWN)
    if (
        is_open
        and look.rules.edition is Edition.MUTCD_2009
        and look.rules.uses_recommended_levels
    ):
        return rows_of(Edition.MUTCD_2009_RECOMMENDED), True
    return rows_of(look.rules.edition), False


def _table_elements(
    look: _Look,
    placement: Placement,
    rows: tuple[MinimumLevel, ...],
    is_recommended: bool,
) -> list[ElementPlan]:
    """Return an element for each colour of the pair's row, and for its contrast."""
    elements = [
        _color_element(
            look,
            _as_on_face(look, color),
            [row for row in rows if row.color is color],
            placement,
            is_recommended,
        )
        for color in dict.fromkeys(row.color for row in rows)
    ]
    ratios = {row.min_contrast_ratio: row for row in rows if row.min_contrast_ratio is not None}
    if ratios and look.legend is not None and look.background is not None:
        elements.append(
            ElementPlan(
                ElementKind.CONTRAST,
                Color.WHITE,
                denominator=Color.RED,
                candidates=tuple(
                    Candidate(
                        to_thousandths(ratio),
                        row.table_id,
                        row.row_id,
                        weakest(row.checked, placement.checked),
                        ("", "", ""),
                    )
                    for ratio, row in ratios.items()
                ),
                unverified=_unverified(
                    {"the row for these colours": placement.checked}, ratios.values()
                ),
            )
        )
    return elements


def _as_on_face(look: _Look, color: Color) -> Color:
    """Return the face's own colour that a column of the table stands for."""
    own = [each for each in (look.background, look.legend) if each is not None]
    named = {each.value.removeprefix("fluorescent-"): each for each in own}
    return color if color in own else named.get(color.value, color)


def _color_element(
    look: _Look,
    color: Color,
    rows: list[MinimumLevel],
    placement: Placement,
    is_recommended: bool,
) -> ElementPlan:
    chosen = look.rules.fluorescent_basis(color)
    if chosen == "":
        own = find_own_level(look.rules, (look.background, look.legend), color)
        if own is not None:
            return own_element(own)
        return ElementPlan(ElementKind.COLOR, color, no_level=not_decided_words(color))
    try:
        columns = find_columns(look.face, color)
    except (NoPublishedValueError, OutOfRangeError) as reason:
        return ElementPlan(ElementKind.COLOR, color, no_level=str(reason))
    chosen_by = _what_chose_the_row(look, placement, columns, rows)
    candidates = tuple(
        Candidate(
            None
            if row.minimum_ra_cd_lx_m2 is None
            else to_thousandths(row.minimum_ra_cd_lx_m2),
            row.table_id,
            row.row_id,
            weakest(row.checked, *chosen_by.values()),
            (
                row.sheeting_class.value,
                row.mount.value if row.mount is not None else "",
                row.criterion.value,
            ),
        )
        for row in rows
        if row.sheeting_class in columns.classes
    )
    unknown = [(Axis.SHEETING, columns.unknown)] if columns.unknown else []
    if look.face.mount is None:
        unknown.append((Axis.MOUNT, "mount not known"))
    if look.unknown_size:
        unknown.append((Axis.SIZE, f"{look.unknown_size} not known"))
    return ElementPlan(
        ElementKind.COLOR,
        color,
        candidates=candidates,
        unknown=tuple(unknown),
        unverified=_unverified(chosen_by, rows),
        is_recommended=is_recommended,
        agency_words=fluorescent_words(color, chosen) if chosen else "",
    )


def _what_chose_the_row(
    look: _Look, placement: Placement, columns: Columns, rows: list[MinimumLevel]
) -> dict[str, Checked]:
    """Return what led to the rows, in words, and how far each was checked."""
    chosen_by = {"the row for these colours": placement.checked}
    criteria = size_criteria(look.rules.edition, None, look.dimension_in)
    if rows[0].criterion in criteria and len(criteria) > 1 and look.symbol is not None:
        chosen_by["whether the list of bold symbols has the code"] = look.symbol.checked
    if _columns_differ(rows):
        chosen_by["the column for this type of sheeting"] = columns.checked
    return chosen_by


def _columns_differ(rows: list[MinimumLevel]) -> bool:
    """Return whether the sheeting matters for a colour: some columns hold other figures."""
    figures = {
        (row.mount, row.criterion, row.minimum_ra_cd_lx_m2, row.is_prohibited) for row in rows
    }
    return len(figures) > len({(row.mount, row.criterion) for row in rows})


def _unverified(
    chosen_by: Mapping[str, Checked], rows: Iterable[PublishedRow]
) -> tuple[str, ...]:
    """Return what of a level was not compared with its source, in words."""
    figures = ("the figure",) if not all(row.is_verified for row in rows) else ()
    return figures + tuple(
        words for words, checked in chosen_by.items() if not checked.is_verified
    )


def _special_elements(look: _Look) -> list[ElementPlan]:
    """Return the element minimums that the edition prints for the sign's own code."""
    if look.face.sign_type is None or look.face.sign_type.is_local:
        return []
    return [
        ElementPlan(
            ElementKind.COLOR,
            row.color,
            candidates=(_special_candidate(row),),
            unverified=_unverified({}, [row]),
        )
        for row in special_minimums(look.rules.edition, look.face.sign_type.code)
    ]


def _special_candidate(row: ElementMinimum) -> Candidate:
    return Candidate(
        to_thousandths(row.minimum_ra_cd_lx_m2),
        row.table_id,
        row.row_id,
        row.checked,
        ("", "", ""),
    )


def _further_colors(
    look: _Look, sign_colors: SignColors, elements: Iterable[ElementPlan]
) -> list[ElementPlan]:
    """Return the colours of the face that neither its row nor its code gives a level."""
    covered = {element.color for element in elements}
    return [
        ElementPlan(
            ElementKind.COLOR,
            color,
            no_level=(
                f"The tables give no level for {color.words} on {sign_colors.words} signs; it "
                "does not decide."
            ),
            decides=False,
        )
        for color in _known_colors(look)
        if color not in covered
    ]

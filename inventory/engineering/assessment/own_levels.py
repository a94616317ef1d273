"""Levels an agency set itself, for colours that no published table gives one."""

from collections.abc import Iterable

from inventory.engineering.assessment.elements import Candidate, ElementKind, ElementPlan
from inventory.engineering.assessment.face import OwnLevel, Rules
from inventory.engineering.inspection.readings import to_thousandths
from inventory.engineering.standards.vocabulary import Checked, Color

AGENCY_LEVEL_TABLE = "agency-level"  # stands where a published table's identifier would


def plan_without_row(
    rules: Rules,
    pair: tuple[Color | None, Color | None],
    colors: Iterable[Color],
    no_level: str,
) -> tuple[ElementPlan, ...]:
    """
    Return the elements of a face whose colours have no published row.

    Parameters
    ----------
    rules : Rules
        The agency's, with its own levels.
    pair : tuple of Color or None
        Background and legend of the face.
    colors : iterable of Color
        The retroreflective colours of the face.
    no_level : str
        The sentence that says why there is no published row.

    Returns
    -------
    tuple of ElementPlan
        A colour with an own level is judged by it. Where the agency set a level for one of the
        colours, the others do not decide; without any own level each is without a level.

    Examples
    --------
    >>> from inventory.engineering.standards.vocabulary import Edition
    >>> school = (Color.FLUORESCENT_YELLOW_GREEN, Color.BLACK)
    >>> plan_without_row(Rules(Edition.MUTCD_11), school, school[:1], "None.")[0].no_level
    'None.'
    """
    own = {color: find_own_level(rules, pair, color) for color in colors}
    if not any(own.values()):
        return tuple(ElementPlan(ElementKind.COLOR, color, no_level=no_level) for color in own)
    return tuple(
        ElementPlan(
            ElementKind.COLOR,
            color,
            no_level=f"The agency has set no level of its own for {color.words} on this sign.",
            decides=False,
        )
        if level is None
        else own_element(level)
        for color, level in own.items()
    )


def find_own_level(
    rules: Rules, pair: tuple[Color | None, Color | None], color: Color
) -> OwnLevel | None:
    """Return the agency's own level for a colour of a pair; ``None`` where it has none."""
    return next(
        (
            each
            for each in rules.own_levels
            if (each.background, each.legend) == pair and each.color is color
        ),
        None,
    )


def own_element(level: OwnLevel) -> ElementPlan:
    """Return the element that an own level judges, labelled as the agency's own."""
    row_id = (
        f"{level.legend.value}-on-{level.background.value}/{level.color.value}/"
        f"from-{level.effective_on.isoformat()}"
    )
    return ElementPlan(
        ElementKind.COLOR,
        level.color,
        candidates=(
            Candidate(
                to_thousandths(level.minimum_ra_cd_lx_m2),
                AGENCY_LEVEL_TABLE,
                row_id,
                Checked.NO,
                ("", "", ""),
            ),
        ),
        is_own_level=True,
        agency_words=(
            f"That level was approved by {level.approved_by} on "
            f"{level.approved_on.isoformat()}: {_sentence(level.basis)}"
        ),
    )


def fluorescent_words(color: Color, basis: str) -> str:
    """Return that a fluorescent colour is judged by its plain row, and why."""
    plain = color.words.removeprefix("fluorescent ")
    return (
        f"That {color.words} is judged by the {plain} row is the agency's choice: "
        f"{_sentence(basis)}"
    )


def not_decided_words(color: Color) -> str:
    """Return that the agency has not decided by which row a fluorescent colour is judged."""
    plain = color.words.removeprefix("fluorescent ")
    return (
        f"The agency has not decided whether {color.words} is judged by the {plain} row, so "
        "there is no level; set the choice with its basis in the rules, or a level of the "
        "agency's own."
    )


def _sentence(text: str) -> str:
    return text.strip().rstrip(".") + "."

"""Every cell of both editions' level tables, judged at its level and just below.

``PRINTED`` is typed here from the printed tables, apart from the project's own table files, so
that a slip on either side shows. Order of columns: beaded I, II, III, prismatic; ``None`` is
"may not be used".
"""

from decimal import Decimal

import pytest

from inventory.engineering.assessment.assess import assess_face
from inventory.engineering.assessment.face import Face, Rules
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.standards.levels import level_rows
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    MountClass,
    Series,
    Shape,
    SheetingClass,
    SizeCriterion,
    SymbolClass,
)
from tests.engineering.assessment.faces import SHEETING_OF_CLASS, element, read, two_colors

# Source: MUTCD 11th edition (2023) Table 2A-5. The 2009 edition's Table 2A-3 holds the same
# figures without blue and brown (from memory); the blue and brown figures of the FHWA
# memorandum of 5 April 2012 are those of the 11th edition.
PRINTED = {
    ("white-on-green", "overhead", "any", "white"): (None, None, None, 250),
    ("white-on-green", "overhead", "any", "green"): (7, 15, 25, 25),
    ("white-on-green", "post", "any", "white"): (None, 120, 120, 120),
    ("white-on-green", "post", "any", "green"): (7, 15, 15, 15),
    ("white-on-blue", "overhead", "any", "white"): (None, None, None, 250),
    ("white-on-blue", "overhead", "any", "blue"): (3, 5, 12, 12),
    ("white-on-blue", "post", "any", "white"): (None, 120, 120, 120),
    ("white-on-blue", "post", "any", "blue"): (3, 7, 7, 7),
    ("white-on-brown", "overhead", "any", "white"): (None, None, None, 350),
    ("white-on-brown", "overhead", "any", "brown"): (1, 5, 10, 10),
    ("white-on-brown", "post", "any", "white"): (None, 150, 150, 150),
    ("white-on-brown", "post", "any", "brown"): (1, 5, 5, 5),
    ("black-on-yellow", None, "bold-or-48in", "yellow"): (None, 50, 50, 50),
    ("black-on-yellow", None, "under-48in", "yellow"): (None, 75, 75, 75),
    ("black-on-orange", None, "bold-or-48in", "orange"): (None, 50, 50, 50),
    ("black-on-orange", None, "under-48in", "orange"): (None, 75, 75, 75),
    ("white-on-red", None, "any", "white"): (35, 35, 35, 35),
    ("white-on-red", None, "any", "red"): (7, 7, 7, 7),
    ("black-on-white", None, "any", "white"): (50, 50, 50, 50),
}
BLUE_AND_BROWN = ("white-on-blue", "white-on-brown")
PLACES = {
    Edition.MUTCD_11: list(PRINTED),
    Edition.MUTCD_2009: [key for key in PRINTED if key[0] not in BLUE_AND_BROWN],
    Edition.MUTCD_2009_RECOMMENDED: [key for key in PRINTED if key[0] in BLUE_AND_BROWN],
}
CELLS = [
    (edition, key, column, PRINTED[key][index])
    for edition, keys in PLACES.items()
    for key in keys
    for index, column in enumerate(SheetingClass)
]


def face_for(key, column):
    """A face that falls under exactly this cell, and so does its other colour."""
    pair, mount, criterion, _ = key
    legend, background = pair.split("-on-")
    sign_type = None
    if criterion != SizeCriterion.ANY.value:
        symbol = (
            SymbolClass.BOLD
            if criterion == SizeCriterion.BOLD_OR_48_IN.value
            else SymbolClass.TEXT
        )
        sign_type = local_sign_type(
            code="LW-9",
            name="For the test",
            series=Series.WARNING,
            shape=Shape.DIAMOND,
            symbol_class=symbol,
        )
    return Face(
        sign_type,
        two_colors(Color(background), Color(legend), SHEETING_OF_CLASS[column]),
        mount=None if mount is None else MountClass(mount),
        width_in=Decimal(36),
        height_in=Decimal(36),
    )


def rules_for(edition):
    if edition is Edition.MUTCD_2009_RECOMMENDED:
        return Rules(Edition.MUTCD_2009, uses_recommended_levels=True)
    return Rules(edition)


@pytest.mark.parametrize(("edition", "key", "column", "level"), CELLS)
def test_a_cell_of_the_table(edition, key, column, level):
    face, color, rules = face_for(key, column), key[3], rules_for(edition)
    if level is None:
        shown = element(assess_face(face, [read(color, "999")], rules), color)
        assert shown.verdict is Verdict.SHEETING_NOT_ALLOWED
        return
    at_level = element(assess_face(face, [read(color, str(level))], rules), color)
    just_below = str(Decimal(level) - Decimal("0.001"))
    below = element(assess_face(face, [read(color, just_below)], rules), color)
    assert (at_level.verdict, at_level.level) == (Verdict.MEETS, level)
    assert (below.verdict, below.level) == (Verdict.BELOW, level)
    assert at_level.margin_ratio == 1


@pytest.mark.parametrize("edition", list(Edition))
def test_no_cell_of_the_projects_tables_is_left_out_above(edition):
    covered = {(*key, column.value) for each, key, column, _ in CELLS if each is edition}
    held = {
        (
            row.sign_colors.value,
            None if row.mount is None else row.mount.value,
            row.criterion.value,
            row.color.value,
            row.sheeting_class.value,
        )
        for row in level_rows(edition)
    }
    assert held == covered


@pytest.mark.parametrize("edition", [Edition.MUTCD_2009, Edition.MUTCD_11])
@pytest.mark.parametrize("column", list(SheetingClass))
def test_the_contrast_of_white_on_red_in_every_column(edition, column):
    # Source: both tables, white on red: white divided by red at least 3.0.
    face, rules = face_for(("white-on-red", None, "any", "red"), column), Rules(edition)
    at_level = assess_face(face, [read("white", "90"), read("red", "30")], rules)
    below = assess_face(face, [read("white", "89.999"), read("red", "30")], rules)
    assert element(at_level, "white/red").verdict is Verdict.MEETS
    assert element(below, "white/red").verdict is Verdict.BELOW
    assert element(below, "white/red").level == 3
    assert element(below, "white/red").value_to_store == Decimal("2.999966")

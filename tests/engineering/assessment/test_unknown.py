"""What is not known of a face: every row that could apply is judged."""

from decimal import Decimal

import pytest

from inventory.engineering.assessment.assess import assess_face
from inventory.engineering.assessment.face import Face, FaceArea, Part
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.standards.catalogue import find_sign_type
from inventory.engineering.standards.vocabulary import Color, MountClass, Optics
from tests.engineering.assessment.faces import (
    RULES,
    catalogued,
    element,
    read,
    two_colors,
    verdicts,
)

NOT_KNOWN = ("", Optics.UNKNOWN)


def warning(code="W1-2", sheeting=NOT_KNOWN, **fields):
    return catalogued(code, areas=two_colors(Color.YELLOW, Color.BLACK, sheeting), **fields)


def guide(sheeting=NOT_KNOWN, mount=MountClass.POST):
    return Face(None, two_colors(Color.GREEN, Color.WHITE, sheeting), mount=mount)


def test_a_stop_sign_of_unknown_sheeting_is_decided_since_every_column_says_the_same():
    # Source: MUTCD 11th edition Table 2A-5, white on red: one level in all columns.
    face = catalogued("R1-1", areas=two_colors(Color.RED, Color.WHITE, NOT_KNOWN))
    result = assess_face(face, [read("white", "40"), read("red", "10")], RULES)
    assert result.verdict is Verdict.MEETS
    white = element(result, "white")
    assert white.reason == (
        "White 40 meets 35. So under every row that could apply (sheeting not known)."
    )


def test_a_bright_yellow_face_of_unknown_sheeting_is_undecided():
    # Same table, yellow: Type I may not be used; 50 for a bold symbol in the other columns.
    result = assess_face(warning(), [read("yellow", "80")], RULES)
    assert result.verdict is Verdict.UNDECIDED
    assert result.reason == (
        "Undecided: sheeting not known. Yellow 80 could be of sheeting not allowed here; or at "
        "or above 50."
    )
    assert element(result, "yellow").level is None
    assert result.margin_ratio is None


def test_a_yellow_face_that_fails_under_every_row_is_below_whatever_its_sheeting():
    result = assess_face(warning(), [read("yellow", "49")], RULES)
    assert result.verdict is Verdict.BELOW
    assert result.reason == (
        "Yellow 49 is below 50. It fails under every row that could apply (sheeting not "
        "known). A level this rests on is unverified."
    )


def test_an_unread_yellow_face_of_unknown_sheeting_is_undecided_an_unread_stop_sign_is_not():
    # Type I yellow would not be allowed even unread; white on red is allowed in every column.
    assert assess_face(warning(), [], RULES).verdict is Verdict.UNDECIDED
    stop = catalogued("R1-1", areas=two_colors(Color.RED, Color.WHITE, NOT_KNOWN))
    assert assess_face(stop, [], RULES).verdict is Verdict.NO_USABLE_READING


@pytest.mark.parametrize(
    ("optics", "verdict"),
    [(Optics.PRISMATIC, Verdict.MEETS), (Optics.BEADED, Verdict.UNDECIDED)],
)
def test_known_optics_narrow_the_columns(optics, verdict):
    result = assess_face(warning(sheeting=("", optics)), [read("yellow", "60")], RULES)
    assert result.verdict is verdict


@pytest.mark.parametrize(
    ("green", "verdict", "reason"),
    # Overhead white on green: Type III beaded and prismatic both 25 for green.
    [
        ("25", Verdict.MEETS, "optics not known"),
        ("24.9", Verdict.BELOW, "optics not known"),
    ],
)
def test_type_iii_of_unknown_optics_has_two_columns(green, verdict, reason):
    face = guide(("III", Optics.UNKNOWN), MountClass.OVERHEAD)
    result = element(assess_face(face, [read("green", green)], RULES), "green")
    assert result.verdict is verdict
    assert reason in result.reason
    white = element(assess_face(face, [read("white", "300")], RULES), "white")
    assert white.verdict is Verdict.UNDECIDED  # beaded may not be used there, prismatic 250
    assert white.reason.startswith("Undecided: optics not known.")


@pytest.mark.parametrize(
    ("white", "verdict"),
    # Same table, prismatic white on green: post 120, overhead 250.
    [("250", Verdict.MEETS), ("130", Verdict.UNDECIDED), ("119", Verdict.BELOW)],
)
def test_an_unknown_mount(white, verdict):
    face = guide(("IX", Optics.PRISMATIC), mount=None)
    result = element(assess_face(face, [read("white", white)], RULES), "white")
    assert result.verdict is verdict
    assert "mount not known" in result.reason


def test_agreeing_rows_are_stated_with_the_level_hardest_to_meet_or_easiest_to_miss():
    face = guide(("IX", Optics.PRISMATIC), mount=None)
    meets = element(assess_face(face, [read("white", "300")], RULES), "white")
    below = element(assess_face(face, [read("white", "100")], RULES), "white")
    assert meets.level == 250
    assert below.level == 120


def test_only_the_unknown_that_matters_is_blamed():
    # White 260 on prismatic or Type II: the mount leaves post 120 and overhead 250, both met;
    # beaded columns are not allowed overhead. By either road the sheeting is what differs.
    face = guide(NOT_KNOWN, MountClass.POST)
    result = element(assess_face(face, [read("white", "260")], RULES), "white")
    assert result.reason.startswith("Undecided: sheeting not known.")


@pytest.mark.parametrize(
    ("yellow", "verdict"),
    # Prismatic yellow: 50 for a bold symbol or 48 in and over, 75 otherwise.
    [("75", Verdict.MEETS), ("60", Verdict.UNDECIDED), ("49.9", Verdict.BELOW)],
)
def test_an_unknown_size_of_a_text_sign(yellow, verdict):
    prismatic = ("IX", Optics.PRISMATIC)
    face = warning("W8-8", prismatic, width_in=None, height_in=None)
    result = assess_face(face, [read("yellow", yellow)], RULES)
    assert result.verdict is verdict
    assert "(size not known)" in result.reason or "Undecided: size not known." in result.reason


def test_one_colour_of_two_sheetings_is_judged_in_the_columns_of_both():
    # White on green, overhead: beaded Type III may not be used, prismatic 250; green 25 and 25.
    face = Face(
        None,
        (
            FaceArea(Part.BACKGROUND, Color.GREEN, "IX", Optics.PRISMATIC),
            FaceArea(Part.LEGEND, Color.WHITE, "IX", Optics.PRISMATIC),
            FaceArea(Part.SECONDARY, Color.WHITE, "III", Optics.BEADED),
        ),
        mount=MountClass.OVERHEAD,
    )
    white = element(assess_face(face, [read("white", "300")], RULES), "white")
    assert white.verdict is Verdict.UNDECIDED
    assert white.reason.startswith("Undecided: which of two sheetings was read not known.")


def test_an_unknown_code_leaves_the_symbol_class_open():
    face = Face(
        None,
        two_colors(Color.YELLOW, Color.BLACK),
        width_in=Decimal(30),
        height_in=Decimal(30),
    )
    result = assess_face(face, [read("yellow", "60")], RULES)
    assert result.reason == (
        "Undecided: symbol class not known. Yellow 60 could be below 75; or at or above 50."
    )


def test_size_and_symbol_class_both_unknown_are_both_named():
    face = Face(None, two_colors(Color.YELLOW, Color.BLACK))
    result = assess_face(face, [read("yellow", "60")], RULES)
    assert result.reason.startswith("Undecided: size and symbol class not known.")


@pytest.mark.parametrize(
    ("areas", "words"),
    [
        ((), "background and legend colour not known"),
        ((FaceArea(Part.BACKGROUND, Color.YELLOW),), "legend colour not known"),
        ((FaceArea(Part.LEGEND, Color.WHITE),), "background colour not known"),
        (
            (FaceArea(Part.BACKGROUND, Color.GREEN), FaceArea(Part.LEGEND, None)),
            "legend colour not known",
        ),
    ],
)
def test_colours_that_are_not_known_leave_it_undecided(areas, words):
    # A white legend on yellow, or a red one on white, has no row; a black one has.
    result = assess_face(Face(None, areas), [], RULES)
    assert result.verdict is Verdict.UNDECIDED
    assert result.reason.startswith(f"Undecided: {words}")


def test_colours_not_recorded_are_those_of_the_catalogued_sign():
    result = assess_face(
        Face(find_sign_type("R1-1")[0]), [read("white", "40"), read("red", "10")], RULES
    )
    assert result.verdict is Verdict.MEETS
    assert "sheeting not known" in element(result, "white").reason


def test_sheeting_the_tables_have_no_column_for_has_no_level():
    # Type I is beaded; a prismatic Type I is a slip in the record, not a lower level.
    face = catalogued("R1-1", areas=two_colors(Color.RED, Color.WHITE, ("I", Optics.PRISMATIC)))
    result = assess_face(face, [read("white", "40"), read("red", "10")], RULES)
    assert verdicts(result) == {"white": "no level", "red": "no level", "white/red": "meets"}
    assert result.verdict is Verdict.NO_LEVEL
    assert "check the type and the optics" in result.reason


def test_a_sheeting_word_that_is_no_type_is_named_and_not_guessed():
    face = catalogued(
        "R1-1", areas=two_colors(Color.RED, Color.WHITE, ("high grade", Optics.UNKNOWN))
    )
    white = element(assess_face(face, [read("white", "40")], RULES), "white")
    assert white.verdict is Verdict.NO_LEVEL
    assert "'high grade' is not a sheeting type" in white.reason
    assert white.reason.endswith("Read: 40 cd/lx/m².")

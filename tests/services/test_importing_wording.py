"""Values of a list's fields as a person reads them."""

import pytest

from inventory.services.importing.rows import SourceField as F
from inventory.services.importing.wording import value_words


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        (F.SIZES, [[36.0, 9.0], [30.0, None]], "36 × 9 in, width 30 in height not known"),
        (F.FACING, 0.0, "0°"),
        (F.MOUNTING_HEIGHT, 84.0, "84 in"),
        (F.MILEPOINT, 3.25, "3.25 mi"),
        (F.INSTALLED, ["2014-03-01", "month"], "2014-03"),
        (F.REMOVED, ["2014-03-01", "day"], "2014-03-01"),
        (F.SHEETING, ["III", "beaded"], "III, beaded"),
        (F.SHEETING, ["IX", "unknown"], "IX"),
        (F.SHEETING, ["", ""], "not known"),
        (F.SHEETING, None, "not known"),
        (
            F.COLORS,
            [["background", "red"], ["legend", "white"]],
            "background red, legend white",
        ),
        (F.CONDITION, ["2024-05-01", "bent", 2, "Bad"], "bent, moderate on 2024-05-01 ('Bad')"),
        (F.ROAD, "Elm St", "Elm St"),
    ],
)
def test_a_value_is_shown_with_its_unit_and_no_more_than_is_known(field, value, words):
    assert value_words(field, value) == words


def test_fields_come_from_the_database_as_plain_texts():
    assert value_words("size", [[30.0, 30.0]]) == "30 × 30 in"
    assert value_words("milepoint", 2) == "2 mi"

import pytest

from inventory.engineering.production.colouring import Colouring, colouring_of
from inventory.models import ColourArea


@pytest.mark.parametrize(
    ("color", "base_color", "inks", "made_by"),
    [
        # Common practice, no source.
        ("white", "white", {"red"}, Colouring.SHEETING),
        ("fluorescent-yellow", "fluorescent-yellow", set(), Colouring.SHEETING),
        ("red", "white", {"red", "blue"}, Colouring.PRINTED_SPOT),
        ("black", "fluorescent-yellow", {"black"}, Colouring.OPAQUE),
        ("black", "white", set(), Colouring.OPAQUE),
    ],
)
def test_what_makes_a_colour_follows_from_sheeting_and_inks(color, base_color, inks, made_by):
    assert colouring_of(color, base_color, inks) is made_by


def test_a_colour_that_no_ink_on_the_press_has_stays_not_known():
    assert colouring_of("green", "white", {"blue", "yellow"}) is Colouring.UNKNOWN


def test_the_words_are_those_the_records_use():
    assert {each.value for each in Colouring} == set(ColourArea.Colouring.values)

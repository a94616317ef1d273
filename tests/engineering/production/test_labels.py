import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.production.labels import (
    LABEL_ALPHABET,
    MAXIMUM_SERIAL,
    hybrid_check,
    make_label,
    read_label,
)
from inventory.errors import OutOfRangeError

serials = st.integers(1, MAXIMUM_SERIAL)


@pytest.mark.parametrize(
    ("text", "alphabet", "check"),
    [
        # ISO/IEC 7064:2003, MOD 11,10: 0794 has the check digit 5 (example of the standard,
        # from memory).
        ("0794", "0123456789", "5"),
        # Global Release Identifier standard 2.1, MOD 37,36: A1-2425G-ABC1234002-M, the
        # identifier printed as its example (seen on a public package page).
        ("A12425GABC1234002", "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", "M"),
    ],
)
def test_the_published_examples_of_the_hybrid_systems_come_out(text, alphabet, check):
    values = [alphabet.index(each) for each in text]
    assert alphabet[hybrid_check(values, len(alphabet))] == check


def test_the_symbols_are_those_of_base_32_without_i_l_o_u():
    # D. Crockford, Base 32 (crockford.com/base32): ten digits and 22 letters, not I L O U.
    letters = [chr(each) for each in range(ord("A"), ord("Z") + 1)]
    kept = "".join(each for each in letters if each not in "ILOU")
    assert "0123456789" + kept == LABEL_ALPHABET


@given(serials)
def test_a_label_reads_back_as_itself_however_it_is_typed(serial):
    label = make_label(serial)
    assert read_label(label) == label
    assert read_label(f"  {label.replace('-', ' ').lower()} ") == label
    assert read_label(label.replace("1", "l").replace("0", "o")) == label


@given(serials, serials)
def test_two_faces_never_share_a_label(one, other):
    assert (make_label(one) == make_label(other)) == (one == other)


@given(serials, st.data())
def test_one_wrong_character_is_always_noticed(serial, data):
    # ISO/IEC 7064: the hybrid systems detect every single substitution.
    text = make_label(serial).replace("-", "")
    at = data.draw(st.integers(0, len(text) - 1))
    wrong = data.draw(st.sampled_from([each for each in LABEL_ALPHABET if each != text[at]]))
    with pytest.raises(OutOfRangeError, match="does not fit the rest"):
        read_label(text[:at] + wrong + text[at + 1 :])


def test_nearly_all_swaps_of_two_neighbours_are_noticed():
    noticed = swaps = 0
    for serial in range(1, 20_000):
        text = make_label(serial).replace("-", "")
        for at in range(len(text) - 1):
            swapped = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
            if swapped == text:
                continue
            swaps += 1
            values = [LABEL_ALPHABET.index(each) for each in swapped]
            noticed += hybrid_check(values[:-1], len(LABEL_ALPHABET)) != values[-1]
    # 34 of the 16,864 pairs of state and neighbours escape (counted by hand over all of them).
    assert noticed / swaps > 0.99


@pytest.mark.parametrize("serial", [0, -1, MAXIMUM_SERIAL + 1])
def test_a_serial_number_that_is_none_gets_no_label(serial):
    with pytest.raises(OutOfRangeError, match=f"Serial number {serial} cannot"):
        make_label(serial)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "'' is too short for a label id"),
        ("001-0J", "'001-0J' is too short"),
        ("001-0UK", "'U' is never part of one"),
        ("001-0J?", "'\\?' is never part of one"),
    ],
)
def test_a_text_that_is_no_label_is_refused_with_what_is_wrong(typed, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        read_label(typed)


def test_a_value_outside_the_alphabet_is_refused():
    with pytest.raises(OutOfRangeError, match="Position 10 is not in an alphabet of 10"):
        hybrid_check([10], 10)

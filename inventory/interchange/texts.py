"""Words and numbers as lists write them."""

import re
from dataclasses import dataclass

from inventory.errors import OutOfRangeError

_GROUPED = re.compile(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d*)?")


def normal_word(text: str) -> str:
    """
    Return a word in the form in which words are compared: one case, single blanks.

    Examples
    --------
    >>> normal_word("  High  GRADE prism ")
    'high grade prism'
    """
    return " ".join(text.split()).casefold()


@dataclass(frozen=True, slots=True)
class NumberFormat:
    """How a file writes numbers; blank means that it was not said."""

    decimal: str = ""
    thousands: str = ""

    def read(self, text: str) -> float:
        """
        Return the number a text stands for.

        Without a stated format the decimal mark is a full stop, and commas are taken as
        thousands only where they cannot be anything else.

        Parameters
        ----------
        text : str
            For example ``"1,016,124.75"``.

        Raises
        ------
        OutOfRangeError
            If the text is not a number, or could be two.

        Examples
        --------
        >>> NumberFormat().read("1,016,124.75")
        1016124.75
        >>> NumberFormat(decimal=",", thousands=".").read("1.016.124,75")
        1016124.75
        >>> NumberFormat().read("43,125")
        Traceback (most recent call last):
            ...
        inventory.errors.OutOfRangeError: '43,125' could be 43.125 or 43125; ...
        """
        plain = "".join(text.split())
        if self.thousands:
            plain = plain.replace(self.thousands, "")
        if self.decimal and self.decimal != ".":
            if "." in plain:
                msg = f"'{text}' is not a number whose decimal mark is '{self.decimal}'."
                raise OutOfRangeError(msg)
            plain = plain.replace(self.decimal, ".")
        elif "," in plain and not self.decimal:
            if _GROUPED.fullmatch(plain) is None:
                msg = (
                    f"'{text}' is not a number; say in [file] which decimal mark the list uses."
                )
                raise OutOfRangeError(msg)
            if plain.count(",") == 1 and "." not in plain:
                msg = (
                    f"'{text}' could be {plain.replace(',', '.')} or {plain.replace(',', '')}; "
                    "say which in [file] with decimal or thousands."
                )
                raise OutOfRangeError(msg)
            plain = plain.replace(",", "")
        if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", plain) is None:
            msg = f"'{text}' is not a number."
            raise OutOfRangeError(msg)
        return float(plain)

    def read_whole(self, text: str) -> int:
        """
        Return the whole number a text stands for.

        Raises
        ------
        OutOfRangeError
            If the text is not a whole number.

        Examples
        --------
        >>> NumberFormat().read_whole("2031.0")
        2031
        """
        value = self.read(text)
        if value != int(value):
            msg = f"'{text}' is not a whole number."
            raise OutOfRangeError(msg)
        return int(value)

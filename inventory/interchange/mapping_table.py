"""Reading one table of a mapping: each slip becomes a sentence, none stops the reading."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.errors import OutOfRangeError
from inventory.interchange.texts import normal_word

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

LISTED_NAMES = 30


def nearest(name: str, known: Collection[str]) -> str:
    """
    Return what a wrong name may have meant, as the end of a sentence.

    Examples
    --------
    >>> nearest("Sheting", ["Sheeting", "Size"])
    "; nearest: 'Sheeting'"
    """
    by_word = {normal_word(each): each for each in known}
    close = difflib.get_close_matches(normal_word(name), by_word, n=3, cutoff=0.6)
    if close:
        return "; nearest: " + ", ".join(f"'{by_word[each]}'" for each in close)
    listed = sorted(known)[:LISTED_NAMES]
    return "; there is " + ", ".join(f"'{each}'" for each in listed) if listed else ""


@dataclass(slots=True)
class Problems:
    """What is wrong with a mapping, one sentence each, and the columns the file has."""

    columns: tuple[str, ...]
    sentences: list[str] = field(default_factory=list)

    def add(self, where: str, sentence: str) -> None:
        """Keep one sentence."""
        self.sentences.append(f"[{where}] {sentence}")

    def raise_all(self) -> None:
        """
        Refuse the mapping, if anything is wrong with it.

        Raises
        ------
        OutOfRangeError
            With every sentence on a line of its own.
        """
        if self.sentences:
            count = len(self.sentences)
            head = "One thing is" if count == 1 else f"{count} things are"
            lines = [f"{head} wrong with the mapping:", *(f"  - {s}" for s in self.sentences)]
            raise OutOfRangeError("\n".join(lines))


class MappingTable:
    """One table of the mapping; what is asked of it is checked, what is left over is a slip."""

    def __init__(self, name: str, data: Any, problems: Problems) -> None:
        self.name = name
        self.problems = problems
        self.is_table = isinstance(data, dict)
        if data is not None and not self.is_table:
            self.problem("must be a table; write its keys under a line with its name.")
            data = None
        self._data: dict[str, Any] = dict(data or {})
        self._asked: set[str] = set()

    def problem(self, sentence: str) -> None:
        """Keep a sentence about this table."""
        self.problems.add(self.name, sentence)

    def has(self, key: str) -> bool:
        """Return whether the key is given."""
        self._asked.add(key)
        return key in self._data

    def _take(self, key: str, kind: type | tuple[type, ...], words: str) -> Any:
        self._asked.add(key)
        value = self._data.get(key)
        if value is None:
            return None
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.problem(f"{key} = {value!r} must be {words}.")
            return None
        return value

    def text(self, key: str, *, required: bool = False) -> str:
        """Return a text; blank when it is not given."""
        value = self._take(key, str, "a text in quotation marks")
        if required and not (value or "").strip() and key not in self._data:
            self.problem(f"{key} is missing.")
        return (value or "").strip()

    def number(self, key: str) -> float | None:
        """Return a number, if it is given."""
        value = self._take(key, (int, float), "a number")
        return None if value is None else float(value)

    def flag(self, key: str) -> bool:
        """Return whether a switch is on."""
        return bool(self._take(key, bool, "true or false"))

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; a single one may stand without its brackets."""
        value = self._take(key, (str, list), "a list of texts")
        values = [value] if isinstance(value, str) else value or []
        if not all(isinstance(each, str) for each in values):
            self.problem(f"{key} must hold texts in quotation marks only.")
            return ()
        return tuple(values)

    def choice(self, key: str, allowed: Sequence[str], *, required: bool = False) -> str:
        """Return one of the allowed words; blank when it is not given."""
        value = self.text(key, required=required)
        if value and value not in allowed:
            self.problem(f"{key} = '{value}' must be one of {_listed(allowed)}.")
            return ""
        return value

    def column(self, key: str = "column", *, required: bool = False) -> str:
        """Return the name of a column of the file; blank when none is given."""
        value = " ".join(self.text(key, required=required).split())
        return self._known_column(key, value) if value else ""

    def columns(self, key: str) -> tuple[str, ...]:
        """Return the names of several columns of the file."""
        names = (" ".join(each.split()) for each in self.texts(key))
        return tuple(filter(None, (self._known_column(key, each) for each in names)))

    def _known_column(self, key: str, name: str) -> str:
        if name in self.problems.columns:
            return name
        hint = nearest(name, self.problems.columns)
        self.problem(f"{key} = '{name}' is no column of the file{hint}.")
        return ""

    def words(self, key: str, read: Callable[[Any], Any]) -> dict[str, Any]:
        """
        Return a table of translations by normal word.

        ``read`` returns what a target stands for, or raises ``ValueError`` with the sentence.
        """
        self._asked.add(key)
        given = self._data.get(key, {})
        if not isinstance(given, dict):
            self.problem(f"{key} must be a table of their words and ours.")
            return {}
        translated: dict[str, Any] = {}
        for theirs, ours in given.items():
            word = normal_word(theirs)
            try:
                target = read(ours)
            except ValueError as error:
                self.problem(f"{key}: '{theirs}' = {ours!r}: {error}")
                continue
            if word in translated and translated[word] != target:
                self.problem(
                    f"{key} translates '{theirs}' twice (case and blanks are ignored)."
                )
            translated[word] = target
        return translated

    def target(self, key: str, read: Callable[[Any], Any]) -> Any:
        """Return one of our words, if it is given."""
        self._asked.add(key)
        if key not in self._data:
            return None
        try:
            return read(self._data[key])
        except ValueError as error:
            self.problem(f"{key} = {self._data[key]!r}: {error}")
            return None

    def finish(self) -> None:
        """Name the keys that nothing asks for."""
        for key in self._data:
            if key not in self._asked:
                hint = nearest(key, self._asked)
                self.problem(f"has no key '{key}'{hint}.")


def _listed(words: Sequence[str]) -> str:
    return ", ".join(f"'{word}'" for word in words)

"""A council's report read back: its CSV, and numbers and tables from what is shown."""

from __future__ import annotations

import csv
import io
import math
import re
from html.parser import HTMLParser

NUMBER = re.compile(r"under 0\.1|under 1 %|\d[\d,]*(?:\.\d+)?")


def figures_of(text: str) -> dict[tuple[str, str, str], tuple[str, float | None]]:
    """Return every figure of the CSV by table, row and column, with how it is shown."""
    found = {}
    for row in csv.DictReader(io.StringIO(text, newline="")):
        if row["kind"] == "words":
            continue
        value = float(row["value"]) if row["value"] else None
        key = (row["table"], row["row"], row["column"])
        assert key not in found, key
        found[key] = (row["kind"], value)
    return found


def words_of(text: str) -> list[str]:
    """Return what the CSV tells in words."""
    rows = csv.DictReader(io.StringIO(text, newline=""))
    return [row["value"] for row in rows if row["kind"] == "words"]


def as_read(kind: str, value: float | None) -> str:
    """Write a figure as a reader expects it; written apart from the project's own way."""
    if value is None:
        return "–"
    if kind == "share_least":
        return f"{math.ceil(value * 100)} %"
    if kind == "money_least":
        return f"{math.ceil(value):,}"
    if kind == "share":
        return "under 1 %" if 0 < value < 0.005 else f"{round(value * 100)} %"
    if kind in ("expected", "risk"):
        if 0 < value < 0.05:
            return "under 0.1"
        return f"{value:.1f}" if 0 < value < 10 else f"{round(value):,}"
    if kind == "figure":
        return f"{value:,.10g}"
    assert kind in ("count", "money", "hours"), kind
    return f"{round(value):,}"


def numbers_of(text: str) -> set[str]:
    """Return every number in words, a per cent without its sign."""
    return {each.rstrip(",") for each in NUMBER.findall(text)}


class Tables(HTMLParser):
    """The tables of a page: rows of cells by caption, heads first."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: dict[str, list[list[str]]] = {}
        self._rows: list[list[str]] = []
        self._into: str | None = None
        self._text = ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self._rows = []
        elif tag == "tr":
            self._rows.append([])
        elif tag in ("th", "td", "caption"):
            self._into, self._text = tag, ""

    def handle_data(self, data):
        if self._into:
            self._text += data

    def handle_endtag(self, tag):
        if tag not in ("th", "td", "caption") or self._into != tag:
            return
        words = " ".join(self._text.split())
        if tag == "caption":
            self.found[words] = self._rows
        else:
            self._rows[-1].append(words)
        self._into = None

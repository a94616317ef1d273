"""Every figure of a council's report as a CSV (RFC 4180): one figure a line."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from inventory.interchange.council_document import CouncilDocument

HEADS = ("table", "row", "column", "kind", "unit", "value", "row_words", "column_words")


def write_council_csv(document: CouncilDocument) -> str:
    """
    Return the figures, not rounded to what the page shows; an empty value is not told.

    ``kind`` says how a figure is shown: counts, money, hours and expected numbers whole,
    expected ones and risk under 10 with one decimal, shares as per cent. What is assumed is
    told in words.
    """
    out = io.StringIO()
    writer = csv.writer(out)  # its own line ends are RFC 4180's
    writer.writerow(HEADS)
    for table in document.tables:
        for row in table.rows:
            for column, value in zip(table.columns, row.values, strict=True):
                writer.writerow(
                    (
                        table.key,
                        row.key,
                        column.key,
                        row.kind or column.kind,
                        row.unit or column.unit,
                        "" if value is None else repr(value),
                        row.label,
                        column.name,
                    )
                )
    for section in document.sections:
        for number, words in enumerate(section.points, start=1):
            writer.writerow((section.key, str(number), "", "words", "", words, "", ""))
    return out.getvalue()

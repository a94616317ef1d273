"""An invented list for the tests of importing: rows are written as mappings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.services.importing import ImportReport, import_signs
from inventory.services.importing.rows import SourceField as F
from inventory.services.importing.rows import SourceList, SourceRow
from tests.factories import NOW

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import Organisation

STOP: dict[str, Any] = {
    F.POINT: [43.0, -89.5],
    F.SUPPORT_KEY: "P1",
    F.CODE: "R1-1",
    F.SIZES: [[30.0, 30.0]],
    F.FACING: 90.0,
    F.SHEETING: ["IV", "prismatic"],
    F.INSTALLED: ["2014-05-01", "month"],
    F.REPLACEMENT_YEAR: 2026,
}


def row(external_id: str, line: int = 2, **fields: Any) -> SourceRow:
    """Return a row; its text follows from what it says, as in a file."""
    values = STOP | {F[name]: value for name, value in fields.items() if name.isupper()}
    raw = {str(name): str(value) for name, value in values.items()} | {"id": external_id}
    raw |= fields.get("raw", {})
    return SourceRow(
        line=line,
        external_id=external_id,
        raw=raw,
        values={name: value for name, value in values.items() if value != "unmapped"},
        refusal=fields.get("refusal", ""),
        changed_on=fields.get("changed_on"),
    )


def a_list(rows: Sequence[SourceRow], **fields: Any) -> SourceList:
    """Return a list of rows; its digest follows from them."""
    return SourceList(
        **{
            "name": "signs",
            "file_name": "signs.csv",
            "file_sha256": f"{hash(tuple(str(each) for each in rows)):x}",
            "mapping_text": "",
            "columns": tuple(rows[0].raw) if rows else (),
            "rows": rows,
        }
        | fields
    )


def take(
    agency: Organisation, rows: Sequence[SourceRow], *, dry_run: bool = False, **fields: Any
) -> ImportReport:
    """Import some rows for good."""
    now = fields.pop("now", NOW)
    return import_signs(
        organisation=agency, source=a_list(rows, **fields), dry_run=dry_run, now=now
    )


def numbers(report: ImportReport) -> tuple[int, ...]:
    """Return created, updated, unchanged, refused."""
    return tuple(report.counts.values())

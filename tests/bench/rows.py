"""One line of a benchmark's table."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """
    One measured figure.

    ``ratio`` is ours to the peer's; ``target`` says the aim in words; ``holds`` whether it
    was reached, ``None`` where there is no aim or nothing could be measured (``value`` is
    then ``None`` too, and ``note`` says why).
    """

    name: str
    value: float | None
    unit: str
    peer: str | None = None
    peer_value: float | None = None
    ratio: float | None = None
    target: str | None = None
    holds: bool | None = None
    note: str = ""

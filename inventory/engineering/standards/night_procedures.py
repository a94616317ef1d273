"""What the three night procedures need and decide, and how often observers were right."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table

PROCEDURE_FILE = "night_procedures.toml"
HIT_RATE_FILE = "night_hit_rates.toml"


class NightProcedure(StrEnum):
    """The three recognised ways of looking at signs by night."""

    CALIBRATION_SIGNS = "calibration_signs"
    COMPARISON_PANELS = "comparison_panels"
    CONSISTENT_PARAMETERS = "consistent_parameters"

    @property
    def words(self) -> str:
        """Return the procedure's name as a sentence says it."""
        return self.value.replace("_", " ")


class EvidenceKind(StrEnum):
    """What form a piece of evidence has."""

    TEXT = "text"
    NUMBER = "number"
    DATE = "date"
    CHOICE = "choice"
    CONFIRM = "confirm"


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceItem(PublishedRow):
    """
    One thing an inspector states before a rating by night is kept.

    ``per_color`` is true where it is stated for each colour looked at; ``minimum`` and
    ``exact`` are in ``unit``, ``None`` where the procedure has no such bound.
    """

    key: str
    label: str
    kind: EvidenceKind
    per_color: bool
    unit: str
    minimum: Decimal | None
    exact: Decimal | None
    choices: tuple[str, ...]
    must_be_same_night: bool
    must_reach_level: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcedureDecision(PublishedRow):
    """What a procedure decides, in words."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HitRate(PublishedRow):
    """The share of right replace-or-keep calls on one kind of sign. [%]."""

    signs: str
    right_percent: Decimal
    short_source: str


@cache
def evidence_items(procedure: NightProcedure) -> tuple[EvidenceItem, ...]:
    """
    Return what a procedure needs stated, in the order a form asks for it.

    Examples
    --------
    >>> [item.key for item in evidence_items(NightProcedure.CONSISTENT_PARAMETERS)]
    ['inspector_age_years', 'vehicle_kind', 'vehicle_model_year', 'low_beams_aimed']
    """
    return tuple(
        EvidenceItem(
            **row.published(),
            key=row.text("key"),
            label=row.text("label"),
            kind=EvidenceKind(row.text("kind")),
            per_color=row.flag("per_color"),
            unit=row.optional_text("unit"),
            minimum=row.optional_decimal("minimum"),
            exact=row.optional_decimal("exact"),
            choices=tuple(filter(None, row.optional_text("choices").split("; "))),
            must_be_same_night="must_be_same_night" in row.cells,
            must_reach_level="must_reach_level" in row.cells,
        )
        for row in read_table(PROCEDURE_FILE).rows
        if row.text("role") == "evidence" and row.text("procedure") == procedure.value
    )


@cache
def decision_of(procedure: NightProcedure) -> ProcedureDecision:
    """
    Return what a procedure decides.

    Examples
    --------
    >>> decision_of(NightProcedure.COMPARISON_PANELS).words
    'replace a sign dimmer than the panel'
    """
    row = next(
        row
        for row in read_table(PROCEDURE_FILE).rows
        if row.text("role") == "decision" and row.text("procedure") == procedure.value
    )
    return ProcedureDecision(**row.published(), words=row.text("label"))


@cache
def hit_rates() -> tuple[HitRate, ...]:
    """
    Return how often trained observers decided rightly by night.

    References
    ----------
    .. [1] Washington state research report WA-RD 140.1 (1987).

    Examples
    --------
    >>> [(rate.signs, str(rate.right_percent)) for rate in hit_rates()]
    [('warning signs', '74'), ('Stop signs', '75')]
    """
    return tuple(
        HitRate(
            **row.published(),
            signs=row.text("signs"),
            right_percent=row.decimal("right_percent"),
            short_source=row.text("short_source"),
        )
        for row in read_table(HIT_RATE_FILE).rows
    )


def hit_rate_sentence() -> str:
    """
    Return what stands beside every rating made by night.

    Examples
    --------
    >>> hit_rate_sentence()
    'A graded observation, not a measurement: trained observers made the right replace-or-keep
    call on 74 % of warning signs and 75 % of Stop signs (WA-RD 140.1, 1987).'
    """
    shares = " and ".join(f"{rate.right_percent} % of {rate.signs}" for rate in hit_rates())
    sources = "; ".join(dict.fromkeys(rate.short_source for rate in hit_rates()))
    return (
        "A graded observation, not a measurement: trained observers made the right "
        f"replace-or-keep call on {shares} ({sources})."
    )

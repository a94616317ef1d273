"""Published service lives and deterioration studies: bands to judge by, never defaults."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceLife(PublishedRow):
    """One published service life, failing share or retained share; ``unit`` says which."""

    study: str
    year: str
    quantity: str
    sheeting_types: str
    colors: str
    value_low: Decimal | None
    value_high: Decimal | None
    unit: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DeteriorationStudy(PublishedRow):
    """One study of R_A against age; slopes are negative and ``None`` where not printed."""

    study: str
    year: str
    report: str
    jurisdiction: str
    sheeting_types: str
    colors: str
    model_form: str
    intercept_ra_cd_lx_m2: Decimal | None
    slope_low_cd_lx_m2_per_year: Decimal | None
    slope_high_cd_lx_m2_per_year: Decimal | None
    r_squared_low: Decimal | None
    r_squared_high: Decimal | None
    sample_size: str
    other_predictors: str
    findings: str


@cache
def service_lives() -> tuple[ServiceLife, ...]:
    """
    Return every published service life that was found, checked or not.

    References
    ----------
    .. [1] Each row names its own.

    Examples
    --------
    >>> sum(row.is_verified for row in service_lives())
    15
    """
    return tuple(
        ServiceLife(
            **row.published(),
            study=row.text("study"),
            year=row.optional_text("year"),
            quantity=row.text("quantity"),
            sheeting_types=row.text("sheeting_types"),
            colors=row.text("colors"),
            value_low=row.optional_decimal("value_low"),
            value_high=row.optional_decimal("value_high"),
            unit=row.text("unit"),
            note=row.optional_text("note"),
        )
        for row in read_table("service_life.toml").rows
    )


@cache
def deterioration_studies() -> tuple[DeteriorationStudy, ...]:
    """
    Return every deterioration study that was found, checked or not.

    References
    ----------
    .. [1] Each row names its own.

    Examples
    --------
    >>> texas_white = deterioration_studies()[0]
    >>> texas_white.slope_low_cd_lx_m2_per_year, texas_white.slope_high_cd_lx_m2_per_year
    (Decimal('-8'), Decimal('-2'))
    """
    return tuple(
        DeteriorationStudy(
            **row.published(),
            study=row.text("study"),
            year=row.optional_text("year"),
            report=row.optional_text("report"),
            jurisdiction=row.optional_text("jurisdiction"),
            sheeting_types=row.optional_text("sheeting_types"),
            colors=row.optional_text("colors"),
            model_form=row.optional_text("model_form"),
            intercept_ra_cd_lx_m2=row.optional_decimal("intercept_ra_cd_lx_m2"),
            slope_low_cd_lx_m2_per_year=row.optional_decimal("slope_low_cd_lx_m2_per_year"),
            slope_high_cd_lx_m2_per_year=row.optional_decimal("slope_high_cd_lx_m2_per_year"),
            r_squared_low=row.optional_decimal("r_squared_low"),
            r_squared_high=row.optional_decimal("r_squared_high"),
            sample_size=row.optional_text("sample_size"),
            other_predictors=row.optional_text("other_predictors"),
            findings=row.text("findings"),
        )
        for row in read_table("deterioration_studies.toml").rows
    )

"""Published studies; figures as printed in the abstracts named here."""

from decimal import Decimal

from inventory.engineering.standards.studies import deterioration_studies, service_lives
from inventory.engineering.standards.vocabulary import Checked


def test_every_study_loads_and_keeps_its_mark():
    assert len(service_lives()) == 20
    assert len(deterioration_studies()) == 14
    for row in (*service_lives(), *deterioration_studies()):
        assert row.verification
        assert (row.checked is Checked.NO) == row.verification.startswith("from memory")
        assert row.source or row.checked is Checked.NO


def test_the_slopes_of_the_texas_sample_are_those_of_its_abstract():
    # Transportation Research Record 2011, in-service sample of Texas, Type III: white -2 to -8,
    # yellow -1 to -12 cd/lx/m2 a year, R2 0.1 to 0.3.
    white, yellow = deterioration_studies()[:2]
    assert (white.slope_low_cd_lx_m2_per_year, white.slope_high_cd_lx_m2_per_year) == (
        Decimal(-8),
        Decimal(-2),
    )
    assert (yellow.slope_low_cd_lx_m2_per_year, yellow.slope_high_cd_lx_m2_per_year) == (
        Decimal(-12),
        Decimal(-1),
    )
    assert (white.r_squared_low, white.r_squared_high) == (Decimal("0.1"), Decimal("0.3"))


def test_no_study_gives_an_intercept_so_none_may_serve_as_a_default():
    assert all(row.intercept_ra_cd_lx_m2 is None for row in deterioration_studies())


def test_the_indiana_ages_are_those_of_its_abstract():
    # FHWA/IN/JTRP-2002/22: white and yellow 12 years, red not beyond 10.
    ages = [(row.colors, row.value_high) for row in service_lives() if "JTRP" in row.study]
    assert ages == [("white; yellow", Decimal(12)), ("red", Decimal(10))]

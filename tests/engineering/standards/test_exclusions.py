"""
Signs an agency may leave out of its method.

Clauses of MUTCD 11th edition section 2A.22 paragraph 5 (public transcription of the California
edition); 2009 section 2A.08 adds blue and brown (FHWA memorandum of 5 April 2012).
"""

import pytest

from inventory.engineering.standards.catalogue import find_sign_type, sign_types
from inventory.engineering.standards.exclusions import exclusion_clauses, exclusion_for
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import Color, Edition, ExclusionKey, Series

PARKING, WALKING, ACKNOWLEDGMENT, BLUE_OR_BROWN, BIKEWAY = ExclusionKey


def excluded(edition, code):
    return exclusion_for(edition, find_sign_type(code)[0])


def the_exclusion(edition, sign_type, background=None):
    found = exclusion_for(edition, sign_type, background)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("code", "key"),
    [
        ("R7-1", PARKING),
        ("R8-3", PARKING),
        ("R9-1", WALKING),
        ("R10-1", WALKING),
        ("R10-4a", WALKING),
        ("I20-1", ACKNOWLEDGMENT),
    ],
)
def test_a_clause_is_found_by_code(code, key):
    found = excluded(Edition.MUTCD_11, code)
    assert found.clause.key is key
    assert not found.needs_confirmation
    assert found.caution == ""


@pytest.mark.parametrize("code", ["R1-1", "R10-5", "W1-2", "D1-1"])
def test_most_signs_stay_in_the_method(code):
    assert excluded(Edition.MUTCD_11, code) is None
    assert excluded(Edition.MUTCD_2009, code) is None


@pytest.mark.parametrize(
    ("code", "caution"),
    [
        ("R8-8", "grade-crossing sign"),
        ("R8-9", "grade-crossing sign"),
        ("R8-10", "grade-crossing sign"),
        ("R8-10a", "grade-crossing sign"),
        ("R9-8", "work-zone sign"),
        ("R9-9", "work-zone sign"),
        ("R9-10", "work-zone sign"),
        ("R9-11", "work-zone sign"),
        ("R9-11a", "work-zone sign"),
        ("R9-12", "work-zone sign"),
        ("R9-20", "addresses motor traffic"),
        ("D11-1", "agency to confirm each placement"),
        ("W5-4a", "agency to confirm each placement"),
    ],
)
def test_a_sign_in_a_series_by_number_only_stays_until_the_agency_confirms(code, caution):
    found = excluded(Edition.MUTCD_11, code)
    assert found.needs_confirmation
    assert caution in found.caution


def test_blue_and_brown_are_a_clause_of_2009_and_no_longer_of_the_11th():
    for code in ("D9-2", "RS-006"):
        assert excluded(Edition.MUTCD_2009, code).clause.key is BLUE_OR_BROWN
        assert excluded(Edition.MUTCD_2009_RECOMMENDED, code).clause.key is BLUE_OR_BROWN
        assert excluded(Edition.MUTCD_11, code) is None
    dropped = {row.key for row in exclusion_clauses(Edition.MUTCD_11) if not row.may_exclude}
    assert dropped == {BLUE_OR_BROWN}


def test_the_face_decides_by_its_own_background():
    stop = find_sign_type("R1-1")[0]
    assert the_exclusion(Edition.MUTCD_2009, stop, Color.BROWN).clause.key is BLUE_OR_BROWN
    assert the_exclusion(Edition.MUTCD_2009, None, Color.BLUE).clause.key is BLUE_OR_BROWN
    assert exclusion_for(Edition.MUTCD_2009, None) is None
    brown = local_sign_type(
        code="X-1", name="Invented", series=Series.GUIDE, background=Color.BROWN
    )
    assert the_exclusion(Edition.MUTCD_2009, brown).clause.key is BLUE_OR_BROWN


def test_a_settled_clause_comes_before_one_to_confirm():
    bike_route = find_sign_type("D11-1")[0]
    assert the_exclusion(Edition.MUTCD_2009, bike_route).needs_confirmation
    found = the_exclusion(Edition.MUTCD_2009, bike_route, Color.BLUE)
    assert (found.clause.key, found.needs_confirmation) == (BLUE_OR_BROWN, False)


@pytest.mark.parametrize(
    ("edition", "count"), [(Edition.MUTCD_11, 158), (Edition.MUTCD_2009, 311)]
)
def test_as_many_codes_may_be_left_out_as_the_notes_count(edition, count):
    # 158 rows in the 11th edition; with the blue and brown backgrounds of 2009, 311.
    assert sum(exclusion_for(edition, each) is not None for each in sign_types()) == count

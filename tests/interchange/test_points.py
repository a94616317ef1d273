"""Coordinates of any system, against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from inventory.errors import OutOfRangeError
from inventory.interchange.points import (
    Box,
    Projector,
    find_far,
    is_nowhere,
    read_crs,
    read_pair,
    rounded,
)

MICRO_DEG = 1e-6  # 0.1 m on the ground; the published figures give a hundredth of a metre


def point(projector: Projector, x: float, y: float) -> tuple[float, float]:
    latitudes, longitudes = projector.project(np.array([x]), np.array([y]))
    return float(latitudes[0]), float(longitudes[0])


def test_the_worked_example_of_the_epsg_guidance_note():
    # IOGP Geomatics Guidance Note 7-2, Popular Visualisation Pseudo-Mercator (method 1024),
    # as epsg.io/1024-method prints it: 24°22'54.433"N 100°20'00.000"W is E -11 169 055.58 m,
    # N 2 800 000.00 m.
    found = point(Projector(read_crs("EPSG:3857")), -11169055.58, 2800000.00)
    assert found == pytest.approx((24 + 22 / 60 + 54.433 / 3600, -(100 + 20 / 60)), abs=1e-7)


def test_the_origin_of_the_illinois_east_zone_lies_where_the_law_puts_it():
    # 765 ILCS 225/7 (read at ilga.gov): the origin, at 88°20' W and 36°40' N of NAD 83, has
    # x = 300,000 meters (984,250.000 feet) and y = 0. NAD 83 and WGS 84 are taken as one.
    projector = Projector(read_crs("EPSG:3435"))
    expected = (36 + 40 / 60, -(88 + 20 / 60))
    assert point(projector, 984250.0, 0.0) == pytest.approx(expected, abs=MICRO_DEG)
    # The same figures in metres are another place: the classic slip with this system.
    in_metres = Projector(read_crs("EPSG:3435"), unit="m")
    assert point(in_metres, 300000.0, 0.0) == pytest.approx(expected, abs=MICRO_DEG)


def test_feet_taken_for_survey_feet_are_off_by_what_nist_says():
    # NIST SP 811, appendix B.6: 1 ft (US survey) = 1200/3937 m, two parts in a million longer
    # than 0.3048 m; at x = 984,250 ft that is 0.6 m.
    survey = Projector(read_crs("EPSG:3435"))
    international = Projector(read_crs("EPSG:3435"), unit="ft")
    off_deg = point(survey, 984250.0, 0.0)[1] - point(international, 984250.0, 0.0)[1]
    metres = off_deg * 111_320 * math.cos(math.radians(36 + 40 / 60))
    assert metres == pytest.approx(984250 * (1200 / 3937 - 0.3048), rel=0.01)


def test_a_point_outside_the_area_of_use_is_refused_with_where_it_lies():
    projector = Projector(read_crs("EPSG:3435"))
    inside, outside = projector.refusals(np.array([1.0e6, 1.0e6]), np.array([1.26e6, 1.0e7]))
    assert inside == ""
    assert "EPSG:3435" in outside
    assert "outside the area that system is meant for" in outside


def test_a_point_outside_the_bounds_of_the_mapping_is_refused():
    box = Box(40.0, -88.5, 40.3, -88.0, "the bounds of the mapping")
    projector = Projector(read_crs("EPSG:4326"), bounds=box)
    assert projector.refusals(np.array([-88.2, -88.6]), np.array([40.1, 40.1]))[0] == ""
    assert (
        "the bounds of the mapping"
        in projector.refusals(np.array([-88.6]), np.array([40.1]))[0]
    )


def test_what_would_bring_a_point_into_place_is_named():
    projector = Projector(read_crs("EPSG:3435"))
    assert 'unit = "m"' in projector.hint(309_714.2, 384_136.1)
    assert "exchanged" in projector.hint(1_260_290.8, 1_016_124.8)
    assert projector.hint(1e9, 1e9) == ""
    degrees = Projector(
        read_crs("EPSG:4326"), bounds=Box(40.0, -88.5, 40.3, -88.0, "the bounds")
    )
    assert "exchanged" in degrees.hint(40.1, -88.2)


def test_a_box_over_the_date_line_holds_both_sides():
    box = Box(-20.0, 170.0, 0.0, -170.0, "there")
    held = box.holds(np.array([-10.0, -10.0, -10.0]), np.array([175.0, -175.0, 0.0]))
    assert held.tolist() == [True, True, False]


@pytest.mark.parametrize("text", ["EPSG:999999", "feet", "EPSG:5703"])
def test_what_is_no_system_of_map_coordinates_is_refused(text):
    # EPSG:5703 is a system of heights.
    with pytest.raises(OutOfRangeError, match=text):
        read_crs(text)


def test_a_unit_of_length_makes_no_sense_with_degrees():
    with pytest.raises(OutOfRangeError, match="in degrees"):
        Projector(read_crs("4326"), unit="m")


def test_a_transformation_without_its_grid_is_said_aloud():
    assert any("grid file" in each for each in Projector(read_crs("EPSG:4267")).remarks())
    assert len(Projector(read_crs("EPSG:4326")).remarks()) == 1


def test_pairs_are_read_from_one_text():
    assert read_pair("(41.88, -87.63)") == (41.88, -87.63)
    assert read_pair("POINT (-87.63 41.88)") == (-87.63, 41.88)
    with pytest.raises(OutOfRangeError, match="two numbers"):
        read_pair("POINT Z (1 2 3)")


def test_points_are_kept_to_a_centimetre():
    assert rounded(-88.123456789) == -88.1234568
    assert str(rounded(-1e-12)) == "0.0"
    assert is_nowhere(0.0, 0.0)
    assert is_nowhere(math.nan, 1.0)
    assert not is_nowhere(0.0, 51.5)


def test_points_far_from_the_middle_of_a_list_are_found():
    # Common practice, no source: a minus sign lost, and latitude and longitude exchanged.
    near = [(40.1, -88.2), (40.3, -88.4), (41.9, -87.6)]
    wrong = [(40.1, 88.2), (-88.2, 40.1)]
    _, far = find_far(near + wrong)
    assert far == [3, 4]
    assert find_far(near)[1] == []


def test_a_list_over_the_date_line_is_one_place():
    # The islands of one agency may lie on both sides of 180°.
    assert find_far([(51.9, 179.9), (51.9, -179.9), (51.8, 179.6)])[1] == []

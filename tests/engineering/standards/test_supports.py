"""Support types; which are overhead is inferred from where the sign hangs."""

import pytest

from inventory.engineering.standards.supports import find_support_type, support_types
from inventory.engineering.standards.vocabulary import MountClass
from inventory.errors import NoPublishedValueError


def test_what_spans_or_reaches_over_the_road_is_overhead_and_all_else_post():
    # MUTCD 11th edition 2A.14 names overhead installations; arms and wires by inference.
    overhead = {each.key for each in support_types() if each.mount_class is MountClass.OVERHEAD}
    assert overhead == {
        "overhead_bridge",
        "overhead_cantilever",
        "overhead_butterfly",
        "overcrossing_structure",
        "mast_arm",
        "span_wire",
    }
    assert len(support_types()) == 21


def test_a_support_type_is_found_by_key():
    found = find_support_type("u_channel")
    assert found.mount_class is MountClass.POST
    assert found.is_breakaway_expected
    assert found.is_verified
    assert not find_support_type("aluminum_post").is_verified


@pytest.mark.parametrize("key", ["", "U_CHANNEL ", "tree"])
def test_an_unknown_support_type_is_refused_with_those_there_are(key):
    with pytest.raises(NoPublishedValueError, match="use one of u_channel"):
        find_support_type(key)

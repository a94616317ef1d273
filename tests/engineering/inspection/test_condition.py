"""What the newest observations together say."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.inspection.condition import GENERAL, Observed, find_condition
from inventory.engineering.inspection.vocabulary import Severity
from inventory.models import Observation

DAY = datetime(2026, 5, 1, tzinfo=UTC)


def seen(kind, severity, days=0):
    return Observed(kind, severity, kind, DAY + timedelta(days=days))


observations = st.lists(
    st.builds(
        seen,
        st.sampled_from([GENERAL, "bent", "faded", "missing"]),
        st.sampled_from(Severity),
        st.integers(0, 4),
    ),
    max_size=8,
)


def test_nobody_has_looked():
    condition = find_condition([])
    assert condition.worst is None
    assert condition.severity is None


def test_a_later_note_about_something_else_does_not_clear_damage():
    bent = seen("bent", Severity.SEVERE)
    condition = find_condition([bent, seen("obstructed", Severity.SLIGHT, days=30)])
    assert condition.worst == bent
    assert [one.kind for one in condition.standing] == ["bent", "obstructed"]


def test_a_later_look_at_the_same_damage_replaces_the_earlier():
    condition = find_condition(
        [seen("bent", Severity.SEVERE), seen("bent", Severity.NONE, days=1)]
    )
    assert condition.severity is Severity.NONE


def test_found_sound_clears_everything_seen_before_and_nothing_seen_after():
    sound = seen(GENERAL, Severity.NONE, days=10)
    before, after = seen("bent", Severity.SEVERE), seen("faded", Severity.SLIGHT, days=20)
    assert find_condition([before, sound]).severity is Severity.NONE
    assert find_condition([before, sound, after]).worst == after


def test_sound_in_general_with_something_noted_on_the_same_visit_keeps_the_note():
    sound = seen(GENERAL, Severity.NONE)
    growth = seen("obstructed", Severity.MODERATE)
    for order in ([sound, growth], [growth, sound]):
        assert find_condition(order).worst == growth


@given(observations, st.randoms(use_true_random=False))
def test_the_order_of_entry_does_not_matter(entries, random):
    shuffled = random.sample(entries, len(entries))
    assert find_condition(shuffled).severity == find_condition(entries).severity


@given(observations)
def test_severe_damage_stands_until_somebody_looks_again(entries):
    broken = seen("broken", Severity.SEVERE, days=5)
    assert find_condition([*entries, broken]).severity is Severity.SEVERE


def test_the_general_kind_is_one_that_is_stored():
    assert GENERAL in Observation.Kind.values


def test_damage_seen_again_is_known_since_it_was_first_reported():
    day = [datetime(2026, 5, n, tzinfo=UTC) for n in range(1, 4)]

    def bent(severity, at):
        return Observed("bent", severity, "bent", day[at], notified_at=day[at])

    def worst(*seen_so_far):
        found = find_condition(seen_so_far).worst
        assert found is not None
        return found

    again = worst(bent(Severity.MODERATE, 0), bent(Severity.MODERATE, 1))
    assert (again.taken_at, again.notified_at) == (day[1], day[0])
    assert worst(bent(Severity.MODERATE, 0), bent(Severity.SEVERE, 1)).notified_at == day[1]
    mended = [bent(Severity.MODERATE, 0), bent(Severity.NONE, 1), bent(Severity.MODERATE, 2)]
    assert worst(*mended).notified_at == day[2]

"""The cases the phone is compared with: the same on every run, and ties among them."""

from tests.engineering.assessment.verdict_vectors import make_vectors


def test_the_vectors_are_the_same_on_every_run():
    assert make_vectors(seed=7, count=96) == make_vectors(seed=7, count=96)


def test_a_quarter_of_the_vectors_is_made_to_be_exactly_on_a_level():
    cases = make_vectors(seed=7, count=480)["cases"]
    assert sum(case["is_tie"] for case in cases) >= len(cases) / 5

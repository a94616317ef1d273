"""The standing marks: one shape, one word and one colour each, legible to everybody."""

import re
from pathlib import Path

import pytest

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.services.marks import DUE, DUE_SOON, MARKS, mark_of
from tests.web.contrast import contrast_ratio, custom_colors

ROOT = Path(__file__).resolve().parents[2]
TOKENS = (ROOT / "static/css/tokens.css").read_text(encoding="utf-8")
DAY, NIGHT = TOKENS.split(".in-field.night,")
SPRITE = (ROOT / "inventory/templates/inventory/shared/marks_sprite.html").read_text("utf-8")
SHAPES = dict(re.findall(r'<symbol id="([\w-]+)"[^>]*>(.*?)</symbol>', SPRITE))

# W3C, Web Content Accessibility Guidelines 2.2, success criterion 1.4.3 (AA).
LEAST_TEXT_CONTRAST = 4.5
# The same, criterion 1.4.11: parts of controls.
LEAST_CONTROL_CONTRAST = 3.0

PAPERS = ("paper", "paper-sunk", "paper-raised")
INKS = ("ink", "ink-soft", "accent", "accent-hover", "warn-ink", "stop-ink", "good-ink")


@pytest.fixture(params=("day", "night"))
def colors(request):
    day = custom_colors(DAY)
    return day if request.param == "day" else day | custom_colors(NIGHT)


def test_black_on_white_has_the_greatest_contrast_there_is():
    # WCAG 2.2, 'contrast ratio': ratios range from 1 to 21.
    assert contrast_ratio("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-9)
    assert contrast_ratio("#123456", "#123456") == 1.0


@pytest.mark.parametrize("mark", MARKS, ids=lambda mark: mark.key)
def test_a_mark_can_be_read_on_every_paper_by_day_and_by_night(mark, colors):
    for paper in PAPERS:
        ratio = contrast_ratio(colors[f"mark-{mark.key}"], colors[paper])
        assert ratio >= LEAST_TEXT_CONTRAST, (mark.word, paper, round(ratio, 2))


@pytest.mark.parametrize("ink", INKS)
def test_every_ink_can_be_read_on_every_paper(ink, colors):
    for paper in PAPERS:
        assert contrast_ratio(colors[ink], colors[paper]) >= LEAST_TEXT_CONTRAST, paper


def test_warnings_can_be_read_on_their_tints(colors):
    for ink, tint in (
        ("warn-ink", "warn-tint"),
        ("stop-ink", "stop-tint"),
        ("good-ink", "good-tint"),
        ("accent", "accent-tint"),
        ("on-accent", "accent"),
        ("on-accent", "accent-hover"),
        ("ink", "warn-tint"),
        ("ink", "stop-tint"),
        ("ink", "accent-tint"),
    ):
        assert contrast_ratio(colors[ink], colors[tint]) >= LEAST_TEXT_CONTRAST, (ink, tint)


def test_the_edge_of_a_field_and_the_focus_ring_stand_out(colors):
    for edge in ("field-edge", "focus"):
        for paper in PAPERS:
            assert contrast_ratio(colors[edge], colors[paper]) >= LEAST_CONTROL_CONTRAST


def test_every_verdict_has_a_mark_with_a_shape_and_a_word_of_its_own():
    words = {mark_of(verdict).word for verdict in Verdict} | {DUE.word, DUE_SOON.word}
    assert words == {mark.word for mark in MARKS}
    assert len(words) == len(Verdict) + 2
    assert set(SHAPES) == {f"mark-{mark.key}" for mark in MARKS}
    assert len(set(SHAPES.values())) == len(MARKS)


def test_a_sign_that_meets_its_level_but_is_due_is_due_soon_and_one_below_stays_below():
    assert mark_of("meets", is_due=True) == DUE
    assert mark_of("below", is_due=True).word == "below"


def test_one_that_is_forecast_to_be_due_soon_has_a_mark_of_its_own_unless_it_is_due_now():
    assert mark_of("meets", is_due_soon=True) == DUE_SOON
    assert mark_of("meets", is_due=True, is_due_soon=True) == DUE
    assert mark_of("below", is_due_soon=True).word == "below"

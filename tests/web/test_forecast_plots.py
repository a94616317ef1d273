"""A plot is a drawing with its figures beside it; without scripts the figures are there."""

import json
import re
from datetime import date
from pathlib import Path

import pytest
from django.template.loader import render_to_string

from inventory.web.forecast_plots import Column, Level, Mark, Plot, Series, Span
from tests.web.contrast import contrast_ratio, custom_colors

ROOT = Path(__file__).resolve().parents[2]


def plot_of(**parts):
    asked = {
        "id": "white-plot",
        "title": "White of this sign",
        "summary": "White fell from 250 to 230; it is due in 2031.",
        "x_label": "Year",
        "x_kind": "year",
        "x_values": (2024, 2025),
        "y_label": "R_A in cd/lx/m²",
        "series": [
            Series("readings", "errors", (250.0, 230.0), (240.0, 221.0), (260.0, 239.0))
        ],
        "columns": [Column("Year", is_number=False), Column("R_A", "cd/lx/m²")],
        "rows": [("2024", "250"), ("2025", None)],
    }
    return Plot.make(**{**asked, **parts})


def shown(plot):
    return render_to_string("inventory/forecast/plot.html", {"plot": plot})


def test_the_numbers_go_to_the_script_as_data_and_never_as_a_script():
    html = shown(plot_of(title="<b>White</b>", levels=[Level("level 35</script>", 35.0)]))
    assert re.findall(r"<script([^>]*)>", html) == [
        ' id="white-plot-numbers" type="application/json"'
    ]
    found = re.search(r"json\">(.*)</script>", html)
    assert found is not None
    numbers = json.loads(found[1])
    assert numbers["series"][0]["values"] == [250, 230]
    assert numbers["levels"] == [{"label": "level 35</script>", "value": 35}]
    assert 'data-plot="white-plot-numbers"' in html
    # The content policy of the site allows no style in an element.
    assert "style=" not in html
    assert "<b>White" not in html


def test_the_drawing_has_words_and_the_table_a_caption_heads_and_a_place_for_the_keyboard():
    html = shown(plot_of())
    assert 'role="img" aria-label="White fell from 250 to 230; it is due in 2031."' in html
    assert '<caption><span class="plot-caption">White fell from 250 to 230' in html
    assert re.search(r'class="table-scroll" tabindex="0" role="region" aria-label="White', html)
    assert html.count('scope="col"') == 2
    assert html.count('scope="row"') == 2


def test_a_figure_that_is_not_known_says_so():
    assert '<span class="not-known">not known</span>' in shown(plot_of())


def test_the_legend_names_each_series_level_and_span_in_words():
    plot = plot_of(
        levels=[Level("level 35, unverified", 35.0)],
        spans=[Span("falls due, 90 % of such signs", 2029, 2035)],
    )
    legend = shown(plot).split('class="plot-legend')[1].split("</ul>")[0]
    for words in ("readings", "level 35, unverified", "falls due, 90 % of such signs"):
        assert words in legend


def test_a_day_is_drawn_where_it_is_in_time_and_what_is_not_finite_is_left_out():
    plot = plot_of(
        x_kind="date",
        x_values=(date(1970, 1, 2), date(1970, 1, 3)),
        marks=[Mark("today", date(1970, 1, 4))],
        series=[Series("line", "line", (float("inf"), 1 / 3))],
    )
    assert plot.spec["x"]["values"] == [86_400, 172_800]
    assert plot.spec["marks"] == [{"label": "today", "at": 259_200}]
    assert plot.spec["series"][0]["values"] == [None, 0.333333]


def test_a_day_keeps_all_its_digits():
    plot = plot_of(x_kind="date", x_values=(date(2026, 12, 1), date(2026, 12, 2)))
    assert plot.spec["x"]["values"] == [1_796_083_200, 1_796_169_600]


def test_a_series_with_fewer_values_than_places_is_a_slip_that_is_told():
    with pytest.raises(ValueError, match="'readings' has 1 values at 2 places"):
        plot_of(series=[Series("readings", "line", (250.0,))])


@pytest.mark.parametrize("role", ["own", "cohort", "level", "forecast", "other", "span-word"])
def test_lines_and_words_of_a_plot_stand_out_from_the_paper(role):
    # WCAG 2.2, 1.4.11: parts of a drawing 3 to 1; 1.4.3: words 4.5 to 1.
    colors = custom_colors((ROOT / "static/css/tokens.css").read_text().split("}")[0])
    least = 4.5 if role in ("level", "span-word") else 3.0
    assert contrast_ratio(colors[f"plot-{role}"], colors["paper"]) >= least

"""The benchmark runner finds what is written, prints it aligned, and keeps the figures."""

import json
import sys
import types

import pytest

from tests.bench.rows import Row
from tests.bench.runner import STAGES, all_reached, run_stage, stages_written, table

ROWS = [
    Row(
        name="tour of 2,000 stops",
        value=1.0123,
        unit="of best",
        peer="savings",
        peer_value=1.045,
        ratio=0.96871,
        target="≤ 1.02",
        holds=True,
    ),
    Row(name="signs a second", value=123_456.0, unit="1/s", target="≥ 200,000", holds=False),
    Row(name="public set", value=None, unit="", note="instances not present"),
]


@pytest.fixture
def package(tmp_path, monkeypatch):
    """A package of benchmarks with one stage written."""
    folder = tmp_path / "invented_bench"
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    (folder / "bench_forecast.py").write_text(
        "from tests.bench.test_runner import ROWS\n\ndef run():\n    return ROWS\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    module = types.ModuleType("tests.bench.test_runner")
    module.ROWS = ROWS  # type: ignore[attr-defined] # a stand-in under this file's own name
    monkeypatch.setitem(sys.modules, "tests.bench.test_runner", module)
    yield "invented_bench"
    for name in [name for name in sys.modules if name.startswith("invented_bench")]:
        del sys.modules[name]


def test_only_the_stages_that_are_written_are_run(package):
    assert stages_written(package) == ["forecast"]
    assert "forecast" in STAGES


def test_a_stage_is_printed_and_its_figures_are_kept(package, tmp_path, capsys):
    assert run_stage("forecast", tmp_path / "out", package=package) == ROWS
    assert "tour of 2,000 stops" in capsys.readouterr().out
    kept = json.loads((tmp_path / "out" / "forecast.json").read_text(encoding="utf-8"))
    assert [Row(**row) for row in kept] == ROWS


def test_the_columns_of_the_table_stand_under_their_headings():
    lines = table(ROWS).splitlines()
    units = ("unit", "of best", "1/s")
    places = {line.index(unit) for line, unit in zip(lines, units, strict=False)}
    assert len(places) == 1
    assert lines[1].rstrip().endswith("yes")
    assert lines[2].rstrip().endswith("NO")
    assert "123,456" in lines[2]
    assert lines[4] == "  public set: instances not present"


def test_a_missed_aim_is_seen_and_an_unmeasured_figure_is_not_one():
    assert not all_reached(ROWS)
    assert all_reached([ROWS[0], ROWS[2]])
    assert all_reached([])

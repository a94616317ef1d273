"""The front-end build runs when a source or a built file changed, and only then."""

import json
import sys

import pytest

from tools import build_assets


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A project of one script, built."""
    names = {"BUILD": "static/build", "SCRIPTS": "static/js", "LOCK": "package-lock.json"}
    monkeypatch.setattr(build_assets, "ROOT", tmp_path)
    for name, place in names.items():
        monkeypatch.setattr(build_assets, name, tmp_path / place)
    monkeypatch.setattr(build_assets, "STAMP", build_assets.BUILD / "stamp.json")
    monkeypatch.setattr(build_assets, "__file__", str(tmp_path / "build_assets.py"))
    (tmp_path / "build_assets.py").touch()
    (tmp_path / "package.json").write_text("{}")
    (tmp_path / "package-lock.json").write_text("{}")
    (build_assets.SCRIPTS / "pages").mkdir(parents=True)
    (build_assets.SCRIPTS / "pages" / "map.js").write_text("draw();")
    (build_assets.BUILD / "pages").mkdir(parents=True)
    (build_assets.BUILD / "pages" / "map.js").write_text("d()")
    stamp = {"fingerprint": build_assets._fingerprint(), "files": build_assets._built()}
    build_assets.STAMP.write_text(json.dumps(stamp))
    return tmp_path


def whole():
    return build_assets._is_whole(build_assets._fingerprint())


def test_nothing_runs_while_nothing_changed(folder, monkeypatch):
    monkeypatch.setattr(build_assets, "run_npm", pytest.fail)
    monkeypatch.setattr(build_assets, "run_node", pytest.fail)
    monkeypatch.setattr(sys, "argv", ["build_assets"])
    assert build_assets.main() == 0


@pytest.mark.parametrize("source", ["static/js/pages/map.js", "package-lock.json"])
def test_a_changed_source_is_noticed(folder, source):
    assert whole()
    (folder / source).write_text("changed")
    assert not whole()


def test_a_new_script_is_noticed(folder):
    (folder / "static/js/pages/list.js").write_text("list();")
    assert not whole()


def test_a_lost_or_shortened_built_file_is_noticed(folder):
    built = folder / "static/build/pages/map.js"
    built.write_text("")
    assert not whole()
    built.unlink()
    assert not whole()


def test_a_lost_stamp_is_noticed(folder):
    build_assets.STAMP.unlink()
    assert not whole()


def test_the_first_screen_is_known_by_all_that_it_imports_and_no_more(folder, monkeypatch):
    scripts, field = build_assets.SCRIPTS, "static/js/field"
    monkeypatch.setattr(build_assets, "FIELD_ENTRY", scripts / "field" / "page.js")
    monkeypatch.setattr(
        build_assets, "FIRST_SCREEN", scripts / "field" / "screens" / "today.js"
    )

    def part(*imports, entry=None, later=()):
        known = [
            {"path": f"static/build/{name}", "kind": "import-statement"} for name in imports
        ]
        known += [{"path": f"static/build/{name}", "kind": "dynamic-import"} for name in later]
        return {"imports": known} | ({"entryPoint": f"{field}/{entry}"} if entry else {})

    pieces = "field/pieces"
    outputs = {
        "field/page.js": part(f"{pieces}/a.js", entry="page.js", later=[f"{pieces}/map.js"]),
        f"{pieces}/a.js": part(f"{pieces}/b.js"),
        f"{pieces}/b.js": part(),
        f"{pieces}/today.js": part(f"{pieces}/c.js", entry="screens/today.js"),
        f"{pieces}/c.js": part(f"{pieces}/b.js"),
        f"{pieces}/map.js": part(entry="screens/map.js"),
    }
    listed = {"outputs": {f"static/build/{name}": about for name, about in outputs.items()}}
    (build_assets.BUILD / "field").mkdir()
    build_assets._parts_list().write_text(json.dumps(listed))
    build_assets._note_first_pieces()
    noted = json.loads((build_assets.BUILD / "field" / "first.json").read_text())
    wanted = ("page.js", "pieces/a.js", "pieces/b.js", "pieces/c.js", "pieces/today.js")
    assert noted == [f"build/field/{name}" for name in wanted]
    assert not build_assets._parts_list().exists()

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

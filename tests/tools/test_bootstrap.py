"""A bare machine is told what it lacks, and a finished environment is left alone."""

import json
import sys

import pytest

from tools import bootstrap


def test_an_old_python_is_named_with_the_command_that_installs_a_newer_one(monkeypatch):
    monkeypatch.setattr(sys, "version_info", (3, 9, 2, "final", 0))
    (sentence,) = bootstrap.missing_pieces()
    assert "Python 3.11 or newer is needed" in sentence
    assert "is 3.9.2" in sentence
    assert "apt-get install python3 python3-venv" in sentence


def test_a_python_without_its_venv_module_is_told_the_package(monkeypatch):
    monkeypatch.setattr(bootstrap, "_imports", lambda module: module != "ensurepip")
    (sentence,) = bootstrap.missing_pieces()
    assert "ensurepip is missing" in sentence
    assert "apt-get install python3-venv" in sentence


@pytest.mark.skipif(sys.platform != "linux", reason="the libraries are those of Linux")
def test_each_missing_library_is_told_its_package(monkeypatch):
    monkeypatch.setattr(bootstrap, "_loads", lambda library: library != "libstdc++.so.6")
    (sentence,) = bootstrap.missing_pieces()
    assert sentence == "The library libstdc++.so.6 is missing: apt-get install libstdc++6"


def test_a_library_that_is_not_there_does_not_load():
    assert not bootstrap._loads("libnothing-of-the-kind.so.1")


def test_this_machine_lacks_nothing():
    assert bootstrap.missing_pieces() == []


@pytest.fixture
def environment(tmp_path, monkeypatch):
    """A finished environment with one package of two files."""
    monkeypatch.setattr(bootstrap, "VENV", tmp_path)
    monkeypatch.setattr(bootstrap, "STAMP", tmp_path / "lock-stamp.json")
    monkeypatch.setattr(bootstrap, "VENV_PYTHON", tmp_path / "bin" / "python")
    site = bootstrap._site_packages()
    record = site / "ink-1.0.dist-info" / "RECORD"
    record.parent.mkdir(parents=True)
    (site / "ink.py").write_text("COLOUR = 1\n")
    record.write_text("ink.py,sha256=x,11\nink-1.0.dist-info/RECORD,,\n__pycache__/ink.pyc,,\n")
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "python").touch(mode=0o755)
    stamp = {"fingerprint": "of-the-lock", "installed": bootstrap._installed()}
    bootstrap.STAMP.write_text(json.dumps(stamp))
    assert stamp["installed"] == ["ink-1.0.dist-info"]
    return tmp_path


def test_a_finished_environment_is_whole(environment):
    assert bootstrap._is_whole("of-the-lock")


def test_another_lock_asks_for_another_environment(environment):
    assert not bootstrap._is_whole("of-a-newer-lock")


@pytest.mark.parametrize("text", [None, "", "{", '{"fingerprint": "of-the-lock"}'])
def test_a_stamp_that_is_missing_or_cut_short_is_not_believed(environment, text):
    bootstrap.STAMP.unlink()
    if text is not None:
        bootstrap.STAMP.write_text(text)
    assert not bootstrap._is_whole("of-the-lock")


def test_a_lost_python_or_package_or_file_is_noticed(environment):
    site = bootstrap._site_packages()
    (site / "ink.py").write_text("COLOUR = 1")
    assert not bootstrap._is_whole("of-the-lock"), "a file cut short"
    (site / "ink.py").unlink()
    assert not bootstrap._is_whole("of-the-lock"), "a file gone"
    (site / "ink.py").write_text("COLOUR = 1\n")
    assert bootstrap._is_whole("of-the-lock")
    bootstrap.VENV_PYTHON.unlink()
    assert not bootstrap._is_whole("of-the-lock"), "no Python"


def test_a_making_that_fails_puts_the_damaged_environment_back(environment, monkeypatch):
    monkeypatch.setattr(bootstrap, "_run", lambda what, command: what)
    assert bootstrap._make_from_nothing()
    assert (bootstrap._site_packages() / "ink.py").exists()
    assert not environment.with_name(f"{environment.name}.damaged").exists()


def test_an_environment_moved_here_from_another_folder_is_made_anew(environment):
    pip = environment / "bin" / "pip"
    pip.write_text("#!/another/folder/.venv/bin/python\nimport pip\n")
    assert not bootstrap._is_usable()


def test_what_would_send_pip_elsewhere_is_left_behind(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", "/elsewhere")
    monkeypatch.setenv("PIP_TARGET", "/elsewhere")
    environment = bootstrap._clean_environment()
    assert "PYTHONPATH" not in environment
    assert "PIP_TARGET" not in environment
    assert environment["PATH"]

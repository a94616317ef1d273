"""What gunicorn is told, and what it refuses before it serves anything."""

import runpy
import socket
from pathlib import Path
from types import SimpleNamespace

import pytest

from signfleet.sqlite import library

CONFIG = Path(__file__).resolve().parents[2] / "signfleet" / "gunicorn.conf.py"
NAMES = ("DATABASE_URL", "SIGNFLEET_WORKERS", "SIGNFLEET_THREADS", "SITE_ADDRESS")


@pytest.fixture(autouse=True)
def _free_port(monkeypatch):
    for name in NAMES:
        monkeypatch.delenv(name, raising=False)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    monkeypatch.setenv("SIGNFLEET_BIND", f"127.0.0.1:{port}")


@pytest.fixture
def _old_sqlite(monkeypatch):
    monkeypatch.setattr(library, "library", SimpleNamespace(sqlite_version_info=(3, 40, 1)))


def configure():
    return runpy.run_path(str(CONFIG))


def refusal():
    with pytest.raises(SystemExit) as end:
        configure()
    return str(end.value)


def test_a_safe_sqlite_is_served_by_several_processes(monkeypatch):
    monkeypatch.setattr(library, "library", SimpleNamespace(sqlite_version_info=(3, 51, 3)))
    assert configure()["workers"] > 1


@pytest.mark.usefixtures("_old_sqlite")
def test_an_old_sqlite_is_served_by_one_process():
    assert configure()["workers"] == 1


@pytest.mark.usefixtures("_old_sqlite")
def test_more_processes_on_an_old_sqlite_are_refused_with_what_to_do(monkeypatch):
    monkeypatch.setenv("SIGNFLEET_WORKERS", "2")
    sentence = refusal()
    assert "SIGNFLEET_WORKERS is 2, but SQLite 3.40.1 can corrupt" in sentence
    assert "set it to 1" in sentence
    assert "DATABASE_URL=postgres://" in sentence


@pytest.mark.usefixtures("_old_sqlite")
def test_an_old_sqlite_is_no_matter_where_the_data_are_in_postgresql(monkeypatch):
    monkeypatch.setenv("DATABASE_URL", "postgres://crew:x@db.example/signs")
    monkeypatch.setenv("SIGNFLEET_WORKERS", "8")
    assert configure()["workers"] == 8


def test_a_taken_port_is_named_with_the_way_to_another(monkeypatch):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        monkeypatch.setenv("SIGNFLEET_BIND", f"127.0.0.1:{port}")
        sentence = refusal()
    assert f"already serves 127.0.0.1:{port}" in sentence
    assert "make demo PORT=" in sentence


@pytest.mark.parametrize("address", ["8000", "localhost", "localhost:http"])
def test_an_address_without_host_and_port_is_refused(monkeypatch, address):
    monkeypatch.setenv("SIGNFLEET_BIND", address)
    assert f"SIGNFLEET_BIND is '{address}'; it must be host:port" in refusal()


def test_the_start_says_where_the_site_is(monkeypatch, capsys):
    monkeypatch.setenv("SITE_ADDRESS", "https://signs.example")
    configure()["when_ready"](None)
    assert "signfleet is at https://signs.example/" in capsys.readouterr().out

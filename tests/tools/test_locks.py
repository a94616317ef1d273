"""The lock files are complete, agree with each other, and name no registry."""

import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LOCKS = ("requirements.lock", "requirements-dev.lock", "requirements-next.lock")


def pins(name):
    """Return the pinned requirements of a lock, each with its number of hashes."""
    found: dict[str, int] = {}
    current = ""
    for line in (ROOT / name).read_text(encoding="utf-8").splitlines():
        if line and not line.startswith((" ", "#")):
            current = line.removesuffix(" \\")
            found[current] = 0
        elif "--hash=sha256:" in line:
            found[current] += 1
    return found


@pytest.mark.parametrize("name", LOCKS)
def test_every_requirement_is_pinned_and_hashed(name):
    requirements = pins(name)
    assert len(requirements) > 20
    for requirement, hashes in requirements.items():
        assert re.match(r"[a-z0-9.-]+(\[[a-z0-9,-]+\])?==\S+", requirement), requirement
        assert hashes > 0, requirement


@pytest.mark.parametrize("name", [*LOCKS, "package-lock.json"])
def test_no_lock_names_where_a_package_comes_from(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert '"resolved"' not in text
    assert "--index-url" not in text
    assert "--find-links" not in text
    assert " @ " not in text


def test_what_is_tested_is_what_is_run():
    run, dev = (
        {requirement.partition(" ;")[0] for requirement in pins(name)} for name in LOCKS[:2]
    )
    assert run <= dev


def test_the_locks_are_on_the_releases_they_are_for():
    assert any(pin.startswith("django==5.2.") for pin in pins("requirements-dev.lock"))
    assert any(pin.startswith("django==6.1.") for pin in pins("requirements-next.lock"))


def test_every_package_of_the_front_end_is_pinned_by_its_content():
    packages = json.loads((ROOT / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    assert len(packages) > 5
    assert [name for name, entry in packages.items() if name and "integrity" not in entry] == []

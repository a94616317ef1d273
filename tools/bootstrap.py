"""
Make the environment in ``.venv`` from the lock file, or leave it when it is whole.

Standard library only: this runs before anything is installed. A missing piece of the
system is named with the command that installs it. What was installed is written down in
``.venv/lock-stamp.json`` as the last step, so an interrupted run is seen and finished, and a
finished one costs no network. A damaged environment is made anew.
"""

from __future__ import annotations

import contextlib
import csv
import ctypes
import fcntl
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / os.environ.get("SIGNFLEET_LOCK", "requirements-dev.lock")
VENV = ROOT / os.environ.get("SIGNFLEET_VENV", ".venv")
STAMP = VENV / "lock-stamp.json"
VENV_PYTHON = VENV / "bin" / "python"

MINIMUM_PYTHON = (3, 11)
NEEDED_MB = 1_500  # the environment takes about 1,100 MB

# What the wheels link to outside themselves (`ldd`), and the Debian package of each.
SYSTEM_LIBRARIES = {
    "libstdc++.so.6": "libstdc++6",
    "libgcc_s.so.1": "libgcc-s1",
    "libz.so.1": "zlib1g",
}


def missing_pieces() -> list[str]:
    """Return one sentence for each missing piece of the system, with its remedy."""
    if sys.version_info < MINIMUM_PYTHON:
        found = ".".join(str(part) for part in sys.version_info[:3])
        wanted = ".".join(str(part) for part in MINIMUM_PYTHON)
        return [
            f"Python {wanted} or newer is needed; {sys.executable} is {found}. Install one "
            "(Debian 12: apt-get install python3 python3-venv) or name it: "
            "make PYTHON=/path/to/python3.11"
        ]
    missing = []
    version = f"{sys.version_info[0]}.{sys.version_info[1]}"
    for module in ("venv", "ensurepip"):
        if not _imports(module):
            missing.append(
                f"This Python cannot make environments ({module} is missing): "
                f"apt-get install python3-venv (or python{version}-venv)"
            )
            break
    if sys.platform == "linux":
        for library, package in SYSTEM_LIBRARIES.items():
            if not _loads(library):
                missing.append(f"The library {library} is missing: apt-get install {package}")
    return missing


def main() -> int:
    """Check the system, then make or mend the environment."""
    missing = missing_pieces()
    if missing:
        print("\n".join(missing), file=sys.stderr)
        return 1
    wanted = _fingerprint()
    if _is_whole(wanted):
        return 0
    with _alone():
        return 0 if _is_whole(wanted) else _make(wanted)


def _make(wanted: str) -> int:
    """Bring a usable environment up to the lock, or make it from nothing."""
    free_mb = shutil.disk_usage(ROOT).free // 1_000_000
    if free_mb < NEEDED_MB:
        print(
            f"The environment needs {NEEDED_MB} MB of disk; {free_mb} MB are free on {ROOT}.",
            file=sys.stderr,
        )
        return 1
    print(f"Making the environment {VENV.name} from {LOCK.name} (about a minute).", flush=True)
    failed = _install() if _is_usable() else _make_from_nothing()
    if failed:
        print(
            f"The environment is not finished: {failed} did not go well (its words are "
            "above). It needs the network this once; run make again when that is there.",
            file=sys.stderr,
        )
        return 1
    half = STAMP.with_suffix(".half")
    stamp = {"fingerprint": wanted, "installed": _installed()}
    half.write_text(json.dumps(stamp, indent=1), encoding="utf-8")
    half.replace(STAMP)
    return 0


def _make_from_nothing() -> str:
    """Make the environment; a damaged one is put back if that fails. Return what failed."""
    aside = VENV.with_name(f"{VENV.name}.damaged")
    shutil.rmtree(aside, ignore_errors=True)
    if VENV.exists():
        VENV.rename(aside)
    failed = _run("making it", [sys.executable, "-m", "venv", str(VENV)]) or _install()
    if failed and aside.exists():
        shutil.rmtree(VENV, ignore_errors=True)
        aside.rename(VENV)
    shutil.rmtree(aside, ignore_errors=True)
    return failed


def _install() -> str:
    """Install what the lock names and is not there yet; return what failed."""
    options = ["--disable-pip-version-check", "--no-input", "--require-hashes"]
    command = [str(VENV_PYTHON), "-m", "pip", "install", *options, "--requirement", str(LOCK)]
    return _run("pip install", command)


def _run(what: str, command: list[str]) -> str:
    """Run a program; return its name if it failed."""
    done = subprocess.run(command, check=False, env=_clean_environment())
    return what if done.returncode else ""


def _is_usable() -> bool:
    """Return whether the environment is of this Python and place, with no half package."""
    try:
        script = (VENV / "bin" / "pip").read_text(encoding="utf-8")
    except OSError:
        return False
    if f"{VENV}/" not in script.partition("\n")[0]:
        return False  # moved here from another folder
    probe = "import sys, pip; print(sys.version)"
    command = [str(VENV_PYTHON), "-c", probe]
    try:
        done = subprocess.run(command, check=False, capture_output=True, text=True)
    except OSError:
        return False
    if done.returncode or done.stdout.strip() != sys.version.strip():
        return False
    site = _site_packages()
    return all(_package_is_whole(site, name) for name in _installed())


@contextlib.contextmanager
def _alone() -> Iterator[None]:
    """Wait while another `make` in this folder makes the environment."""
    place = ROOT / "build" / "bootstrap.lock"
    place.parent.mkdir(exist_ok=True)
    with place.open("w", encoding="ascii") as file:
        fcntl.lockf(file, fcntl.LOCK_EX)
        yield


def _imports(module: str) -> bool:
    """Return whether this Python can import a module of its own."""
    done = subprocess.run(
        [sys.executable, "-c", f"import {module}"], check=False, capture_output=True
    )
    return done.returncode == 0


def _loads(library: str) -> bool:
    """Return whether the system has a shared library."""
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _clean_environment() -> dict[str, str]:
    """Return the environment without what would send pip into another one."""
    dropped = (
        "PYTHONPATH",
        "PYTHONHOME",
        "PIP_TARGET",
        "PIP_PREFIX",
        "PIP_USER",
        "VIRTUAL_ENV",
    )
    return {name: value for name, value in os.environ.items() if name not in dropped}


def _fingerprint() -> str:
    """Return what the environment depends on: the lock, the Python, and the place."""
    digest = hashlib.sha256(LOCK.read_bytes())
    for part in (sys.version, os.path.realpath(sys.executable), str(VENV)):
        digest.update(b"\0" + part.encode())
    return digest.hexdigest()


def _site_packages() -> Path:
    """Return the folder the environment's packages are in."""
    version = f"python{sys.version_info[0]}.{sys.version_info[1]}"
    return VENV / "lib" / version / "site-packages"


def _installed() -> list[str]:
    """Return the installed packages, by the names of their record folders."""
    return sorted(folder.name for folder in _site_packages().glob("*.dist-info"))


def _is_whole(wanted: str) -> bool:
    """Return whether the environment is finished and every file of it is there."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    if stamp.get("fingerprint") != wanted or not os.access(VENV_PYTHON, os.X_OK):
        return False
    site = _site_packages()
    return all(_package_is_whole(site, name) for name in stamp.get("installed", [""]))


def _package_is_whole(site: Path, name: str) -> bool:
    """Return whether every file a package's record lists is there, at its size."""
    try:
        record = (site / name / "RECORD").read_text(encoding="utf-8")
    except OSError:
        return False
    for path, _digest, size in csv.reader(record.splitlines()):
        if path.endswith(".pyc"):
            continue
        try:
            found = os.stat(site / path).st_size
        except OSError:
            return False
        if size and found != int(size):
            return False
    return True


if __name__ == "__main__":
    sys.exit(main())

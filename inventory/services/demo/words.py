"""The scenario's words and figures, read from ``fixtures/demo``."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import TYPE_CHECKING, Any

from django.conf import settings

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from random import Random

NAMES = ("scenario", "roads", "signs", "wear", "press", "methods")


def fixtures_directory() -> Path:
    """Return the folder that holds the scenario's files."""
    directory: Path = settings.BASE_DIR / "fixtures" / "demo"
    return directory


@cache
def words(name: str) -> dict[str, Any]:
    """Return one file of the scenario; a missing one is named."""
    path = fixtures_directory() / f"{name}.toml"
    if not path.is_file():
        msg = f"The demo scenario's file {path} is missing; restore the folder fixtures/demo."
        raise OutOfRangeError(msg)
    with path.open("rb") as file:
        return tomllib.load(file)


def pick(rng: Random, shares: dict[str, float]) -> str:
    """Return one of the keys, each as often as its share says."""
    names: Sequence[str] = list(shares)
    return rng.choices(names, weights=[shares[name] for name in names])[0]

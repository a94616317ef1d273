"""The installation's own secret key."""

import os
import secrets
from pathlib import Path


def read_or_make_secret_key(path: Path) -> str:
    """Return the key kept at ``path``, making it once, readable by its owner alone."""
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
    key = secrets.token_urlsafe(64)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:  # another process was first
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(key)
    return key

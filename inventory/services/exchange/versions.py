"""Which state of a position a phone knew when a person changed something there."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from inventory.models import Position, Sign, Support

VERSION_LENGTH = 16


def position_version(position: Position, installed: Sign | None, support: Support) -> str:
    """Return a short name for what stands in a position; another state has another one."""
    state = [
        None
        if installed is None
        else [
            installed.pk,
            str(installed.state),
            installed.installed_on and installed.installed_on.isoformat(),
        ],
        [support.pk, support.latitude_deg, support.longitude_deg],
        [position.sign_code, position.facing_deg, position.is_retired],
    ]
    text = json.dumps(state, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:VERSION_LENGTH]

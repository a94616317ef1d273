"""System checks that say, before anything is served, what an old SQLite means."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.checks import CheckMessage, Tags, Warning, register

from signfleet.env import SQLITE_ENGINE
from signfleet.sqlite.library import (
    FIRST_SAFE_VERSION,
    is_safe_for_several_processes,
    library,
    version_text,
    what_to_do,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

OLD_LIBRARY = "signfleet.W001"


@register(Tags.compatibility)
def check_library_version(app_configs: Any, **kwargs: Any) -> Sequence[CheckMessage]:
    """Warn when a database runs on a SQLite that only one process may use."""
    engines = {entry.get("ENGINE") for entry in settings.DATABASES.values()}
    if SQLITE_ENGINE not in engines:
        return []
    return check_version(library.sqlite_version_info)


def check_version(version: tuple[int, ...]) -> Sequence[CheckMessage]:
    """Return the warning a SQLite of this version earns."""
    if is_safe_for_several_processes(version):
        return []
    return [
        Warning(
            f"SQLite {version_text(version)} is older than {version_text(FIRST_SAFE_VERSION)}: "
            "one process only may use the database.",
            hint=what_to_do(),
            id=OLD_LIBRARY,
        )
    ]

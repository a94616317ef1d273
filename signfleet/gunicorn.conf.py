"""How gunicorn serves the site: ``gunicorn --config signfleet/gunicorn.conf.py``."""

import os
import socket
import sys
from pathlib import Path
from typing import Any

from signfleet.env import SQLITE_ENGINE, SettingError, database_from_env, env_int, env_str
from signfleet.sqlite.library import (
    is_safe_for_several_processes,
    library,
    version_text,
    what_to_do,
)


def _worker_count() -> int:
    """Return how many processes serve; more than one is refused on an old SQLite."""
    engine = database_from_env(Path("signfleet.sqlite3"))["ENGINE"]
    version = library.sqlite_version_info
    one_only = engine == SQLITE_ENGINE and not is_safe_for_several_processes(version)
    count = env_int("SIGNFLEET_WORKERS", 1 if one_only else 2, minimum=1, maximum=64)
    if one_only and count > 1:
        msg = (
            f"SIGNFLEET_WORKERS is {count}, but SQLite {version_text(version)} can corrupt a "
            f"database that several processes write: set it to 1. Or: {what_to_do()}"
        )
        raise SettingError(msg)
    return count


def _bind_address() -> str:
    """Return the address to listen on, after seeing that nothing else does."""
    address = env_str("SIGNFLEET_BIND", "127.0.0.1:8000")
    host, _, port = address.rpartition(":")
    if not host or not port.isdigit():
        msg = f"SIGNFLEET_BIND is {address!r}; it must be host:port, such as 127.0.0.1:8000."
        raise SettingError(msg)
    try:
        with socket.create_connection((host.strip("[]"), int(port)), timeout=1):
            pass
    except OSError:
        return address
    msg = (
        f"Another program already serves {address}; stop it, or choose another port: "
        "make demo PORT=8001"
    )
    raise SettingError(msg)


def when_ready(server: Any) -> None:
    """Say where the site is."""
    address = env_str("SITE_ADDRESS", f"http://{bind}")
    print(f"\nsignfleet is at {address}/ (Ctrl-C stops it)\n", flush=True)  # noqa: T201 - for the person who started it


try:
    workers = _worker_count()
    bind = _bind_address()
    threads = env_int("SIGNFLEET_THREADS", 4, minimum=1, maximum=64)
except SettingError as error:
    sys.exit(str(error))

wsgi_app = "signfleet.wsgi:application"
worker_class = "gthread"
control_socket_disable = True  # nothing is written outside the project
timeout = 120  # seconds; an import from the web may take its time
graceful_timeout = 30
max_requests = 5_000
max_requests_jitter = 500
if os.path.isdir("/dev/shm"):  # noqa: S108 - the workers' heartbeat, away from slow disks
    worker_tmp_dir = "/dev/shm"  # noqa: S108 - as above

"""Work done at the same moment by several threads, each with a connection of its own."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from django.db import connection

if TYPE_CHECKING:
    from collections.abc import Callable


def together(*jobs: Callable[[], Any]) -> list[Any]:
    """Run jobs in threads that start at once; each returns its result or its error."""
    results: list[Any] = [None] * len(jobs)
    start = threading.Barrier(len(jobs))

    def run(number: int, job: Any) -> None:
        try:
            start.wait(timeout=20)
            results[number] = job()
        except Exception as error:  # noqa: BLE001 - handed to the test
            results[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return results

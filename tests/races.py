"""Several people at once: steps that start at the same moment, each on its own connection."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from django.db import connection

from inventory.errors import InventoryError

if TYPE_CHECKING:
    from collections.abc import Callable


def at_once(*steps: Callable[[], Any]) -> list[InventoryError | None]:
    """Run steps in threads, all at one time; return what each was refused with, if it was."""
    barrier = threading.Barrier(len(steps))
    outcomes: list[InventoryError | None] = [None] * len(steps)

    def run(index: int) -> None:
        try:
            barrier.wait(timeout=20)
            steps[index]()
        except InventoryError as error:
            outcomes[index] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(index,)) for index in range(len(steps))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return outcomes

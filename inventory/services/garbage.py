"""Looking for garbage, put off while many records are made that all live to the end."""

from __future__ import annotations

import gc
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def collection_put_off() -> Iterator[None]:
    """
    Put off the search for garbage in cycles until the work inside is done.

    A batch makes some hundred thousand objects and drops none before it is stored: each search
    among them finds nothing, and takes a fifth of the time of the whole. What is dropped
    without a cycle is freed at once all the same. For work of bounded size only.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        # Threads may overlap: the one that found it on turns it on again.
        if was_on:
            gc.enable()

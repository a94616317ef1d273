"""
Records that several tests share: stored once for a module, never changed for the next test.

A test works inside its own transaction (the ``db`` fixture), which is a savepoint of the
module's: what it changed is taken back before the next. Not for a module with tests that
commit (``django_db(transaction=True)``), since nothing here ever is.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from django.db import transaction

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pytest_django import DjangoDbBlocker


@contextmanager
def kept_records(blocker: DjangoDbBlocker) -> Iterator[None]:
    """
    Keep what is stored inside until the end; then take it back.

    The objects a module-wide fixture gives are changed by a test all the same: hand each test
    a ``copy.deepcopy`` of them.
    """
    with blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)

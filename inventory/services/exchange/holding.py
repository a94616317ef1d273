"""Why an operation waits for a person, or for another operation, instead of being refused."""

from __future__ import annotations

from django.core.exceptions import ObjectDoesNotExist
from django.db import DataError, IntegrityError

from inventory.errors import StateConflictError

# Faults of the server's own in applying one operation. It is held and logged: it must not keep
# back all that its phone sends after it. A database that fails as a whole is none of these.
FAULTS = (
    IntegrityError,
    DataError,
    ObjectDoesNotExist,
    ArithmeticError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
)


class HeldError(StateConflictError):
    """An operation cannot be applied now, and nobody is at fault; it is kept and waits."""

    code = "held"


class ConflictError(HeldError):
    """What it changes was changed meanwhile: both versions go to a person."""

    code = "conflict"


class WaitsError(HeldError):
    """It depends on an operation that is not applied yet."""

    code = "waits"


class UnknownPersonError(HeldError):
    """The person it names never signed in on this phone."""

    code = "unknown_person"


class LostRightError(HeldError):
    """The person it names may no longer record for the organisation."""

    code = "lost_right"


class WithdrawnPhoneError(HeldError):
    """The phone was withdrawn: it was lost, or handed back."""

    code = "withdrawn_phone"


class NotStoredError(HeldError):
    """The server failed on it, which is a fault of the server's; it is kept."""

    code = "not_stored"

    def __init__(self) -> None:
        super().__init__(
            "The server could not store it, though nothing is known to be wrong with it; it is "
            "kept, and the server's log says why."
        )

"""Why an operation waits for a person, or for another operation, instead of being refused."""

from __future__ import annotations

from inventory.errors import InventoryError


class HeldError(InventoryError):
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
    """The database would not take it, which is a fault of the server; it is kept."""

    code = "not_stored"

"""Every error the project raises on purpose.

Each class has a stable ``code``; the web layer alone turns a class into a status.
"""


class InventoryError(Exception):
    """Something the caller asked for cannot be done; the message is one full sentence."""

    code = "inventory_error"


class OutOfRangeError(InventoryError, ValueError):
    """A value lies outside the range for which an answer exists."""

    code = "out_of_range"


class UnlikelyError(OutOfRangeError):
    """A value is possible but more often a slip; a person may confirm it and send it again."""

    code = "unlikely"


class NoPublishedValueError(InventoryError, LookupError):
    """No published table gives the value asked for; the message says why."""

    code = "no_published_value"


class StateConflictError(InventoryError):
    """The stored state does not allow the step; the message says what stands in the way."""

    code = "state_conflict"


class NotPermittedError(InventoryError):
    """The person's role or organisation does not allow the step."""

    code = "not_permitted"

"""Support types and the mount class a sign on them has."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import MountClass
from inventory.errors import NoPublishedValueError


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportType(PublishedRow):
    """
    A kind of sign support.

    ``mount_class`` is our inference for every type: on the shaft of a pole is post, over the
    travelled way is overhead. ``is_breakaway_expected`` is the general rule only.
    """

    key: str
    name: str
    material: str
    mount_class: MountClass
    is_breakaway_expected: bool
    typical_use: str
    note: str


@cache
def support_types() -> tuple[SupportType, ...]:
    """Return every support type, in the order of the file."""
    return tuple(
        SupportType(
            **row.published(),
            key=row.text("support_key"),
            name=row.text("name"),
            material=row.text("material"),
            mount_class=MountClass(row.text("mount_class")),
            is_breakaway_expected=row.flag("breakaway_expected"),
            typical_use=row.text("typical_use"),
            note=row.optional_text("note"),
        )
        for row in read_table("supports.toml").rows
    )


def find_support_type(key: str) -> SupportType:
    """
    Return the support type of one key.

    Parameters
    ----------
    key : str
        For example ``"u_channel"``.

    Raises
    ------
    NoPublishedValueError
        If there is no such support type.

    References
    ----------
    .. [1] FHWA-SA-09-025, Maintenance of Signs and Sign Supports, chapter IV.

    Examples
    --------
    >>> find_support_type("mast_arm").mount_class.value
    'overhead'
    """
    for row in support_types():
        if row.key == key:
            return row
    known = ", ".join(row.key for row in support_types())
    msg = f"'{key}' is not a support type; use one of {known}, or leave it unknown."
    raise NoPublishedValueError(msg)

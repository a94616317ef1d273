"""What an agency states of its instruments' uncertainty, and what is assumed until it does."""

import math
from dataclasses import dataclass

from inventory.errors import OutOfRangeError

MAXIMUM_RELATIVE_UNCERTAINTY = 0.5


@dataclass(frozen=True, slots=True)
class InstrumentUncertainty:
    """
    What an agency states of an instrument's uncertainty; never a published constant.

    Parameters
    ----------
    repeatability_rel : float
        Standard deviation of repeated readings of one spot, as a share of the reading, 0 to
        0.5. The scatter of a face is never taken to be less.
    common_rel : float
        Standard uncertainty of what all readings of one instrument in one session share, as a
        share of the reading, 0 to 0.5.
    single_scatter_rel : float
        Scatter to be taken where one reading shows none, as a share of the reading, at least
        ``repeatability_rel`` and over 0, at most 0.5.
    basis : str
        Where these figures come from, in words; required.
    single_scatter_dof : float
        Degrees of freedom of ``single_scatter_rel``, 1 or more; infinite when it is taken as
        known. JCGM 100:2008 G.4.2: ½ ÷ (its own relative uncertainty)².

    Raises
    ------
    OutOfRangeError
        If a figure is outside these bounds, both instrument figures are 0, or the basis is
        empty.

    Examples
    --------
    >>> InstrumentUncertainty(0.03, 0.05, 0.1, " ")
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: The instrument uncertainty has no basis; say in words
    where its figures come from, such as a certificate, a trial of your own or an assumption.
    """

    repeatability_rel: float
    common_rel: float
    single_scatter_rel: float
    basis: str
    single_scatter_dof: float = math.inf

    def __post_init__(self) -> None:
        for name, share in (
            ("repeatability", self.repeatability_rel),
            ("part common to a session", self.common_rel),
            ("scatter of a single reading", self.single_scatter_rel),
        ):
            if not 0 <= share <= MAXIMUM_RELATIVE_UNCERTAINTY:
                msg = (
                    f"The {name} is {share:g} of the reading; it is a share from 0 to "
                    f"{MAXIMUM_RELATIVE_UNCERTAINTY:g}, so that 5 % is written 0.05."
                )
                raise OutOfRangeError(msg)
        if self.repeatability_rel == self.common_rel == 0:
            msg = (
                "Both repeatability and common part are 0, but no instrument reads without "
                "uncertainty; state at least one of them."
            )
            raise OutOfRangeError(msg)
        if self.single_scatter_rel == 0 or self.single_scatter_rel < self.repeatability_rel:
            msg = (
                f"The scatter of a single reading is {self.single_scatter_rel:g} of the "
                f"reading; it is over 0 and not less than the repeatability "
                f"({self.repeatability_rel:g}), which is part of it."
            )
            raise OutOfRangeError(msg)
        if not self.single_scatter_dof >= 1:
            msg = (
                "The scatter of a single reading has "
                f"{self.single_scatter_dof:g} degrees of freedom; they are 1 or more, or "
                "infinite when the scatter is taken as known."
            )
            raise OutOfRangeError(msg)
        if not self.basis.strip():
            msg = (
                "The instrument uncertainty has no basis; say in words where its figures come "
                "from, such as a certificate, a trial of your own or an assumption."
            )
            raise OutOfRangeError(msg)


ASSUMED_UNCERTAINTY = InstrumentUncertainty(
    repeatability_rel=0.03,
    common_rel=0.08,
    single_scatter_rel=0.10,
    basis="An assumption, not a published figure: none was found for hand-held sign "
    "instruments. Replace it by what is known of your instruments.",
)

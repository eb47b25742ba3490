"""One answer as it bears on a cause: how strongly, how firmly, and in which state of the machine."""

from __future__ import annotations

from dataclasses import dataclass

FOR_STRONGLY, FOR, AGAINST, AGAINST_STRONGLY = 4.5, 1.4, 0.71, 0.2
CONTRAST = 3.0
"""How much likelier than with other causes of such a complaint a reading has to be to decide for a cause (estimate)."""
ORIGINAL, CHANGED, OLD_BACK = "original", "changed", "back"


@dataclass(frozen=True)
class Bearing:
    """One live answer as it bears on a cause."""

    event: str
    check: str
    ratio: float
    """Chance of the outcome with the cause against a sound machine; 1 where it says nothing."""
    contrast: float
    """Chance of the outcome with the cause against the mean of the other causes that can bring the complaint."""
    firm: bool
    """Seen by a technician or read off an instrument."""
    deciding: bool
    valued: bool
    """It carries a measured value."""
    normal: bool
    """The outcome is the check's usual one."""
    epoch: int
    state: str
    """ORIGINAL, CHANGED (mended, or another piece in place) or OLD_BACK (old part or setting back)."""

    @property
    def decides(self) -> bool:
        """True for a deciding look or test that tells the cause from a sound machine and from other causes."""
        return self.firm and self.deciding and self.ratio >= FOR_STRONGLY and self.contrast >= CONTRAST


def rules_out(test: Bearing) -> bool:
    """Tell whether a test may rule a cause out: firm, strong, and with a value; never "it looked fine"."""
    with_value = test.valued or (test.deciding and not test.normal)
    return test.firm and test.ratio <= AGAINST_STRONGLY and with_value

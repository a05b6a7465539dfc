"""Small results that more than one file gives."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileInterval:
    """Interval of a mean per unit by profile likelihood, and k at its maximum."""

    low: float
    high: float
    k: float

"""Shares of animals in words."""

NEAR_ENDS = (1, 99)


def share(value: float) -> str:
    """Write a share as percent, with one decimal near either end."""
    percent = 100 * value
    near_end = not NEAR_ENDS[0] <= percent <= NEAR_ENDS[1]
    return f"{percent:.1f} %" if near_end else f"{percent:.0f} %"


def points(value: float) -> str:
    """Write a difference of shares in points of a hundred."""
    return f"{100 * value:.1f} points"

"""Distributions of many rounds on grids, handled together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.estimation.validation import FloatArray, Places


@dataclass(frozen=True)
class Grids:
    """Distributions of positive quantities, one a round, by distribution functions.

    log_values: shape (rounds, nodes), natural logarithms, increasing along a row.
    cumulative: shape (rounds, nodes), probability at or below each, from 0 to 1.
    """

    log_values: FloatArray
    cumulative: FloatArray

    def log_quantiles(self, probabilities: FloatArray | float) -> FloatArray:
        """Give the logarithms of quantiles, at one probability for all or one each."""
        return _straight(self.cumulative, self.log_values, probabilities)

    def below(self, log_values: FloatArray) -> FloatArray:
        """Give the probabilities at or below values by their logarithms, one each."""
        found = _straight(self.log_values, self.cumulative, log_values)
        return np.clip(found, 0.0, 1.0)


@dataclass(frozen=True)
class WashedOff:
    """Posteriors of animals washed off per unit of many rounds, and of the clumping.

    k_medians, sigma_medians: shape (rounds,), sigma's nan where it was not asked.
    lognormal_shares: shape (rounds,), the lognormal model's share of the posterior.
    log_evidences: shape (rounds,), ln of the counts' probability under all that was
    held before they were seen, times their factorials; nan where not asked.
    """

    grids: Grids
    k_medians: FloatArray
    sigma_medians: FloatArray
    lognormal_shares: FloatArray
    log_evidences: FloatArray

    @classmethod
    def together(cls, parts: Sequence["WashedOff"], rows: Places) -> "WashedOff":
        """Put parts one after another, then take rows of them."""
        log_values, cumulative, *others = (
            np.concatenate(arrays)[rows]
            for arrays in zip(*(part.arrays() for part in parts), strict=True)
        )
        return cls(Grids(log_values, cumulative), *others)

    def arrays(self) -> tuple[FloatArray, ...]:
        """Give the arrays, each with one entry a round."""
        return (
            self.grids.log_values,
            self.grids.cumulative,
            self.k_medians,
            self.sigma_medians,
            self.lognormal_shares,
            self.log_evidences,
        )


def _straight(x: FloatArray, y: FloatArray, at: FloatArray | float) -> FloatArray:
    """Interpolate in each row, going on straight beyond the ends."""
    wanted = np.broadcast_to(at, (x.shape[0],))
    after = np.clip((x <= wanted[:, None]).sum(axis=1), 1, x.shape[1] - 1)
    rows = np.arange(x.shape[0])
    x0, x1 = x[rows, after - 1], x[rows, after]
    y0, y1 = y[rows, after - 1], y[rows, after]
    share = (wanted - x0) / np.where(x1 > x0, x1 - x0, 1.0)
    found: FloatArray = y0 + share * (y1 - y0)
    return found

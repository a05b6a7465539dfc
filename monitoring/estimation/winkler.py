"""The Winkler sum of a growing season and the climate region it stands for."""

import numpy as np

from monitoring.estimation.degree_days import degree_days
from monitoring.estimation.validation import EstimationError, Numbers

BASE_C = 10.0
# Lower ends of the regions in C-days; the last entry is where the warmest ends.
REGION_LIMITS: tuple[tuple[str, float], ...] = (
    ("Ia", 850.0),
    ("Ib", 1111.0),
    ("II", 1389.0),
    ("III", 1668.0),
    ("IV", 1945.0),
    ("V", 2223.0),
)
WARMEST = 2700.0


def winkler_sum(minimum_c: Numbers, maximum_c: Numbers) -> float:
    """Add up daily means above 10 C over the days given, in C-days.

    minimum_c, maximum_c: shape (days,), C, every day from 1 April to 31 October, or
    from 1 October to 30 April south of the equator. From daily means: sums of monthly
    means are lower, as cold days then take from warm ones.

    Raises EstimationError if a precondition fails.
    Source: Winkler, Cook, Kliewer & Lider 1974, General Viticulture (from memory).
    """
    daily = degree_days(minimum_c, maximum_c, lower_c=BASE_C, method="average")
    return float(daily.sum())


def winkler_region(degree_day_sum: float) -> str:
    """Name the region of a Winkler sum: Ia to V, or "outside".

    degree_day_sum: C-days, 0 or more.

    Raises EstimationError for what is no sum.
    Source: limits as in Jones et al. 2010, read in an encyclopaedia's table.
    """
    if not (np.isfinite(degree_day_sum) and degree_day_sum >= 0):
        raise EstimationError("degree_day_sum", f"{degree_day_sum!r} is no sum")
    if degree_day_sum > WARMEST:
        return "outside"
    reached = [name for name, least in REGION_LIMITS if degree_day_sum >= least]
    return reached[-1] if reached else "outside"

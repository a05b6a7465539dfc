"""What a count says against what is there, and how many dishes a standard takes."""

from math import atanh, ceil, log10, sqrt

from scipy import stats

from monitoring.estimation import AgreementLimits, Concordance
from monitoring.estimation.agreement import LIMIT_WIDTH

# From fewer animals a percentage says little: they are judged by Poisson limits.
FEW_ANIMALS = 20
# Beyond so many dishes nobody counts for a standard.
MOST_DISHES = 1_000


def dishes_for_limits(
    limits: AgreementLimits, *, widest_ratio: float, confidence: float = 0.95
) -> int | None:
    """Say of how many dishes the limits' own intervals would lie within a ratio.

    limits: of log10 of counts, so far. widest_ratio: how many times apart counts may
    be, above 1. confidence: of the limits' intervals, in (0, 1). As if bias and spread
    stayed what they are; None where no number of dishes would do. Raises nothing.
    Source: Carkeet 2015, Optom. Vis. Sci. 92:e71-e80 (exact limits), solved for pairs.
    """
    room = log10(widest_ratio) - abs(limits.bias)
    if room <= LIMIT_WIDTH * limits.sd:
        return None
    for pairs in range(3, MOST_DISHES + 1):
        root = sqrt(pairs)
        far = stats.nct.ppf((1 + confidence) / 2, pairs - 1, LIMIT_WIDTH * root) / root
        if float(far) * limits.sd <= room:
            return pairs
    return None


def dishes_for_concordance(
    found: Concordance, *, least_concordance: float
) -> int | None:
    """Say from how many dishes Lin's coefficient would be known to reach a value.

    found: so far, of three pairs or more. least_concordance: in (0, 1). As if readings
    went on as they are; None where the coefficient itself is too low, or more than
    MOST_DISHES are needed. Raises nothing.
    Source: Lin 1989, Biometrics 45:255-268 (variance over n - 2), solved for n.
    """
    if found.coefficient >= 1:
        return found.pairs
    if found.coefficient <= least_concordance:
        return None
    middle = atanh(found.coefficient)
    reach = middle - atanh(found.low)
    room = middle - atanh(least_concordance)
    needed = 2 + ceil((found.pairs - 2) * (reach / room) ** 2 - 1e-9)
    return needed if needed <= MOST_DISHES else None

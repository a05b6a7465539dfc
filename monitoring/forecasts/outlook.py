"""What a block's rounds tell of the crossing of its threshold, as of a day."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor

from monitoring.estimation import (
    CrossingForecast,
    EstimationError,
    GrowthFit,
    UsualGrowth,
    fit_growth,
    forecast_crossing,
)
from monitoring.estimation.forecast import RUST_MITE_GROWTH
from monitoring.forecasts.series import (
    Series,
    Visit,
    counted_rounds,
    exposures_of,
)

RUST_MITES = "rust_mites"
# Of other organisms no rate on vines is known to us: less is held beforehand.
UNKNOWN_GROWTH = UsualGrowth(mean=0.03, sd=0.08, keeps_for_days=150.0)
CONFIDENCE = 0.8
# A forecast is told so many days after the newest round; then it is too old.
FRESH_FOR_DAYS = 21


@dataclass(frozen=True, slots=True)
class Growth:
    """Which visits tell how numbers grow, which do not, and since when.

    left_out: visits of the season up to and on the day of the last treatment.
    """

    used: list[Visit]
    left_out: list[Visit]
    treated_on: date | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """A forecast with the visits behind it, and a plain fit as a check on it."""

    growth: Growth
    forecast: CrossingForecast

    @property
    def newest_on(self) -> date:
        """The day of the newest round used."""
        return self.growth.used[-1].day

    @property
    def day(self) -> date | None:
        """The middle date; None where there is none."""
        return on(self.forecast.day)

    @property
    def low(self) -> date | None:
        """The first day of the interval, rounded down."""
        return on(self.forecast.low, rounding=floor)

    @property
    def high(self) -> date | None:
        """The last day of the interval, rounded up."""
        return on(self.forecast.high, rounding=ceil)


def on(day: float | None, *, rounding: Callable[[float], int] = round) -> date | None:
    """Give the date of a day counted as the estimators do."""
    return None if day is None else date.fromordinal(rounding(day))


def usual_growth(organism_code: str) -> UsualGrowth:
    """Give what is held of an organism's growth before its counts are seen."""
    return RUST_MITE_GROWTH if organism_code == RUST_MITES else UNKNOWN_GROWTH


def growth_of(season: Sequence[Visit], series: Series, *, until: date) -> Growth:
    """Choose the season's visits since the last treatment, up to a day."""
    upto = [visit for visit in season if visit.day <= until]
    first = upto[0].day if upto else until
    treated_on = series.latest_treatment(until=until, since=first)
    if treated_on is None:
        return Growth(upto, [], None)
    return Growth(
        [visit for visit in upto if visit.day > treated_on],
        [visit for visit in upto if visit.day <= treated_on],
        treated_on,
    )


def outlook_of(growth: Growth, *, level: float, usual: UsualGrowth) -> Outlook | None:
    """Forecast from visits; None without any."""
    if not growth.used:
        return None
    forecast = forecast_crossing(
        counted_rounds(growth.used),
        threshold=level,
        recovery=growth.used[-1].recovery,
        usual=usual,
        confidence=CONFIDENCE,
    )
    return Outlook(growth, forecast)


def plain_fit(visits: Sequence[Visit]) -> GrowthFit | None:
    """Fit plain exponential growth to the bags; None where that cannot be done.

    Days count from the newest visit.
    """
    newest = visits[-1].day
    pairs = list(zip(visits, exposures_of(visits), strict=True))
    days = [(visit.day - newest).days for visit, bags in pairs for _ in bags]
    counts = [bag.animals for visit, _ in pairs for bag in visit.bags]
    exposures = [exposure for _, bags in pairs for exposure in bags]
    try:
        return fit_growth(days, counts, exposures=exposures)
    except EstimationError:
        return None

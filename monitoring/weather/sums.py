"""Add a station's days up to degree-days, with what they were made of."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import cast

import numpy as np

from monitoring.estimation import (
    DegreeDayCutoff,
    DegreeDayMethod,
    DegreeDaySum,
    HeatRule,
    sum_degree_days,
)
from monitoring.models import WeatherDay
from monitoring.queries.weather import RuleInForce
from monitoring.weather.remarks import spell

# Gaps of so many days are bridged (common practice, without a source).
LONGEST_GAP = 3
A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSum:
    """Degree-days of a farm from a start date to the last day with weather.

    `dates` has every day of that span. `qualities` counts the days that stand.
    """

    dates: list[date]
    sums: DegreeDaySum
    rule: RuleInForce
    qualities: dict[str, int]

    @property
    def last_on(self) -> date:
        """The day up to which it is summed."""
        return self.dates[-1]

    @property
    def total(self) -> float | None:
        """The sum in C-days; None where missing days leave nothing to say."""
        return None if np.isnan(self.sums.total) else self.sums.total

    @property
    def is_at_least(self) -> bool:
        """Whether missing days make the sum a lower bound."""
        return bool(self.sums.at_least[-1])

    @property
    def filled(self) -> int:
        """How many days were filled."""
        return int(self.sums.filled.sum())

    @property
    def missing(self) -> int:
        """How many days are missing, and not filled."""
        return int(self.sums.missing.sum())

    @property
    def gaps(self) -> list[str]:
        """The long gaps in words."""
        return [spell(first, last) for first, last in self._runs(self.sums.missing)]

    @property
    def filled_spans(self) -> list[str]:
        """The filled gaps in words."""
        return [spell(first, last) for first, last in self._runs(self.sums.filled)]

    def _runs(self, wanted: Sequence[bool] | np.ndarray) -> list[tuple[date, date]]:
        runs: list[tuple[date, date]] = []
        for on, is_wanted in zip(self.dates, wanted, strict=True):
            if not is_wanted:
                continue
            if runs and on - runs[-1][1] == A_DAY:
                runs[-1] = (runs[-1][0], on)
            else:
                runs.append((on, on))
        return runs

    def on(self, day: date) -> tuple[float, bool] | None:
        """Give the sum on a day and whether it is “at least”; None outside."""
        place = (day - self.dates[0]).days
        if not 0 <= place < len(self.dates):
            return None
        value = float(self.sums.cumulative[place])
        return None if np.isnan(value) else (value, bool(self.sums.at_least[place]))


def heat_sum(days: Sequence[WeatherDay], rule: RuleInForce) -> HeatSum | None:
    """Sum from the rule's start to the last day given; None without any weather."""
    there = [
        day
        for day in days
        if day.minimum_deg_c is not None and day.measured_on >= rule.starts_on
    ]
    if not there:
        return None
    length = (there[-1].measured_on - rule.starts_on).days + 1
    lows, highs = np.full(length, np.nan), np.full(length, np.nan)
    for day in there:
        place = (day.measured_on - rule.starts_on).days
        lows[place], highs[place] = day.minimum_deg_c, day.maximum_deg_c
    sums = sum_degree_days(
        lows,
        highs,
        rule=HeatRule(
            lower_c=rule.lower_deg_c,
            upper_c=rule.upper_deg_c,
            method=cast("DegreeDayMethod", rule.method),
            cutoff=cast("DegreeDayCutoff", rule.cutoff),
        ),
        longest_gap=LONGEST_GAP,
    )
    return HeatSum(
        dates=[rule.starts_on + step * A_DAY for step in range(length)],
        sums=sums,
        rule=rule,
        qualities=dict(Counter(day.quality for day in there)),
    )

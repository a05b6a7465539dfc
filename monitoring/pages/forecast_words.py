"""What a forecast says, in sentences that a person could say over the phone."""

from datetime import date, timedelta
from math import exp, log

from monitoring.estimation import CrossingForecast, GrowthFit
from monitoring.estimation.forecast import HORIZON_DAYS, PUBLISHED_RATES
from monitoring.forecasts.outlook import FRESH_FOR_DAYS, Outlook
from monitoring.models import Organism
from monitoring.words import day, figure, in_hundred, sentence_case, several, stated

SOON = timedelta(days=HORIZON_DAYS)
MINUS = "\N{MINUS SIGN}"
# Numbers that grow by less than this a day stand still for all that a grower can see.
STANDS_STILL = 0.005
FAR_AWAY_DAYS = 3650
AS_GOOD_AS_POISSON = 1e5


def per_day(rate: float) -> str:
    """Write a rate of growth as animals more a day, in 100."""
    percent = 100 * (exp(rate) - 1)
    return f"{MINUS if percent < 0 else ''}{abs(percent):.0f}"


def days_to_double(rate: float) -> str:
    """Write how long numbers take to double at a rate."""
    return f"{log(2) / rate:.0f} days"


def growth_words(forecast: CrossingForecast) -> str:
    """Say how fast numbers grow now, and in how many days they double."""
    rate, low, high = forecast.rate, forecast.rate_low, forecast.rate_high
    if rate is None or low is None or high is None:
        return ""
    told = f"{per_day(rate)} in 100 a day ({per_day(low)} to {per_day(high)})"
    if rate <= STANDS_STILL:
        start = "They fall" if rate < -STANDS_STILL else "They hardly change"
        return f"{start}: {told}."
    doubling = f"doubling in {days_to_double(rate)}"
    if low > STANDS_STILL:
        ends = f"{days_to_double(high).removesuffix(' days')} to {days_to_double(low)}"
        return f"They grow by {told}, {doubling} ({ends})."
    quickest = days_to_double(high) if high > STANDS_STILL else "no time at all"
    return (
        f"They grow by {told}, {doubling}; {quickest} at the quickest, and that they do"
        " not grow is not ruled out."
    )


def crossing_words(
    outlook: Outlook, organism: Organism, tissue: str, *, today: date
) -> str:
    """Say when the threshold is crossed, or in one sentence why no date is given."""
    forecast = outlook.forecast
    name, level = sentence_case(organism.name), stated(forecast.threshold)
    newest = day(outlook.newest_on)
    if (today - outlook.newest_on).days > FRESH_FOR_DAYS:
        old = (today - outlook.newest_on).days
        return (
            f"No date for {organism.name}: the newest round, of {newest}, is {old} days"
            " old. Take bags again."
        )
    if outlook.day is not None:
        return _date_words(outlook, f"{name} on {several(tissue)}", level, today=today)
    if forecast.outcome == "above":
        chance = float(forecast.chance_above([forecast.newest_day])[0])
        return (
            f"{name} on {several(tissue)} are more likely above your {level} than not"
            f" since the round of {newest} ({in_hundred(chance)}), so there is no"
            " crossing to wait for."
        )
    return f"No date for {organism.name} reaching your {level}: {forecast.reason}."


def _date_words(outlook: Outlook, subject: str, level: str, *, today: date) -> str:
    middle, low, high = outlook.day, outlook.low, outlook.high
    if middle is None or low is None or high is None:
        return ""
    ends = f"80 in 100: {short(low)} to {day(high)}"
    if low <= outlook.newest_on:
        ends = f"80 in 100: may be above already, to {day(high)}"
    if high < today:
        return (
            f"{subject} should have reached your {level} by now, about {day(middle)}"
            f" ({ends}). Take bags again."
        )
    return f"{subject} reach your {level} about {day(middle)} ({ends})."


def short(value: date) -> str:
    """Write a date without its year, where another with it stands beside."""
    return f"{value.day} {value:%B}"


def soon_words(outlook: Outlook, tissue: str) -> str:
    """Say what is to be expected a fortnight after the newest round."""
    forecast = outlook.forecast
    if forecast.paths is None:
        return ""
    at = [forecast.newest_day + HORIZON_DAYS]
    low, middle, high = (
        float(forecast.densities(at, chance)[0]) for chance in (0.1, 0.5, 0.9)
    )
    chance = float(forecast.chance_above(at)[0])
    return (
        f"On {day(outlook.newest_on + SOON)}, a fortnight after the newest round, about"
        f" {figure(middle)} per {tissue} (80 in 100: {figure(low)} to {figure(high)}),"
        f" {in_hundred(chance)} that it is above."
    )


def plausible_words(forecast: CrossingForecast, *, is_rust_mites: bool) -> str:
    """Set the rate against those published for rust mites."""
    rate, (slow, fast) = forecast.rate, PUBLISHED_RATES
    if rate is None:
        return ""
    if not is_rust_mites:
        return (
            "No rate of growth on vines is known to us to set this against; how often"
            " dates hold was tried for growth like rust mites' only."
        )
    published = (
        f"rust mites in the laboratory: {per_day(slow)} in 100 a day at 17 °C,"
        f" {per_day(fast)} at 25 °C"
    )
    if rate > fast:
        return (
            f"That is faster than {published}. Look whether all rounds were taken and"
            " counted alike, or whether mites moved in from elsewhere."
        )
    if rate < slow:
        return (
            f"That is slower than {published}. Predators, cool weather, rain and"
            " crowding all slow them; so may treatments that are not recorded here."
        )
    return f"That lies within what is published of {published}."


def plain_words(fit: GrowthFit | None, level: float, newest_on: date) -> str:
    """Say what a straight line through the bags gives, as a check."""
    if fit is None:
        return "it cannot be fitted to these bags."
    low, high = fit.slope_interval()
    clumping = (
        "counts no more clumped than chance"
        if fit.k > AS_GOOD_AS_POISSON
        else f"k {fit.k:.2f}"
    )
    told = (
        f"slope {fit.slope:.4f} a day ({low:.4f} to {high:.4f}, 95 in 100), standard"
        f" error {fit.slope_standard_error:.4f}, {clumping}, {fit.bags} bags"
    )
    crossing = fit.crossing(level, 0.8)
    if crossing.day is None or crossing.low is None or crossing.high is None:
        return f"{told}; no date: {crossing.reason}."
    ends = (crossing.low, crossing.day, crossing.high)
    if max(abs(one) for one in ends) > FAR_AWAY_DAYS:
        return f"{told}; it meets {stated(level)} too far away to name a day."
    low_on, middle_on, high_on = (
        newest_on + timedelta(days=round(one)) for one in ends
    )
    return (
        f"{told}; it meets {stated(level)} on {day(middle_on)} (Fieller's limits, 80 in"
        f" 100: {day(low_on)} to {day(high_on)})."
    )

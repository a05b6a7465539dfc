"""Figures in words, for templates."""

from datetime import date

from django import template

from monitoring import words
from monitoring.densities.inputs import recovery_value
from monitoring.estimation import BetaRecovery
from monitoring.models import Ratio, Recovery

register = template.Library()
register.filter("figure", words.figure)
register.filter("in_hundred", words.in_hundred)
register.filter("prey_per_predator", words.prey_per_predator)
register.filter("several", words.several)


@register.simple_tag
def interval(low: float | None, high: float | None) -> str:
    """Write an interval."""
    return words.interval(low, high)


@register.filter
def prey_to_one(ratio: Ratio) -> str:
    """Write a ratio as prey to one predator with its interval, or why there is none."""
    if ratio.median is None:
        return ratio.reason
    return words.prey_to_one(ratio.median, ratio.low, ratio.high)


@register.filter
def since(value: date) -> str:
    """Write from when something holds."""
    return words.since(value)


@register.filter
def recovery_share(recovery: Recovery) -> str:
    """Write a recovery's mean with its interval, or its fixed value."""
    value = recovery_value(recovery)
    if not isinstance(value, BetaRecovery):
        return f"{value:g}"
    low, high = value.interval()
    return f"{value.mean:.2f} ({low:.2f} to {high:.2f})"

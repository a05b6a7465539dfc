"""Clumping and plans in words, for templates."""

from math import isfinite, isnan

from django import template

from monitoring import words
from monitoring.words import figure

register = template.Library()
# Shares below so many hundredths are written to a tenth.
TEN = 9.95


@register.filter
def k_of(value: float) -> str:
    """Write a k; “even” where bags differ no more than chance makes them."""
    if isnan(value):
        return ""
    return "even" if value == float("inf") else figure(value)


@register.filter
def hundredths(share: float) -> str:
    """Write a share in hundredths, to a tenth where it is small."""
    in_hundred = 100 * share
    if not isfinite(in_hundred):
        return "not to be told"
    return f"{in_hundred:.0f}" if abs(in_hundred) >= TEN else f"{in_hundred:.1f}"


@register.filter
def stated(value: float) -> str:
    """Write a value as a person set it."""
    return words.stated(value)

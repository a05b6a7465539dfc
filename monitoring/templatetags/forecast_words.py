"""Shares and levels in forecasts' pages."""

from django import template

from monitoring import words

register = template.Library()
register.filter("stated", words.stated)


@register.filter
def percent(share: float) -> str:
    """Write a share as percent, with one decimal where it says something."""
    return f"{100 * share:.1f}".removesuffix(".0")

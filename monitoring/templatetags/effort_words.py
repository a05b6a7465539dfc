"""Clumping and plans in words, for templates."""

from math import isnan

from django import template

from monitoring.words import figure

register = template.Library()


@register.filter
def k_of(value: float) -> str:
    """Write a k; “even” where bags differ no more than chance makes them."""
    if isnan(value):
        return ""
    return "even" if value == float("inf") else figure(value)

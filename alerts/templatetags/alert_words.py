"""Thresholds in words, for templates."""

from django import template

from alerts.models import Threshold, ThresholdVersion
from alerts.words import level_words, season_words, subject_words

register = template.Library()


@register.filter
def watched(threshold: Threshold) -> str:
    """Name what a threshold watches, with a capital."""
    words = subject_words(threshold.organism, threshold.prey, threshold.tissue)
    return words[:1].upper() + words[1:]


@register.filter
def level(version: ThresholdVersion) -> str:
    """Write a version's threshold."""
    return level_words(version, version.level)


@register.filter
def season(version: ThresholdVersion) -> str:
    """Write the part of the year in which a version holds."""
    return season_words(version)


@register.filter
def clear_level(version: ThresholdVersion) -> str:
    """Write a version's clear level."""
    return level_words(version, version.clear_level)

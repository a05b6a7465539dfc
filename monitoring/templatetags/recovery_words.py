"""Shares of animals in words, for templates."""

from django import template

from monitoring.recoveries import words

register = template.Library()
register.filter("share", words.share)
register.filter("points", words.points)

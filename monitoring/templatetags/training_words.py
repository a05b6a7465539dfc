"""Words of training, for templates."""

from django import template

from monitoring.pages import training_words as words

register = template.Library()
register.filter("times", words.times)
register.filter("place", words.place_words)

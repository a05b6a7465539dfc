"""Addresses of the bench: counting, what it keeps, and what comes of it."""

from django.urls import URLPattern

BENCH = "g/<slug:group_slug>/bench/"

urlpatterns: list[URLPattern] = []

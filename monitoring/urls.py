"""Addresses of rounds, sheets, densities and maps."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []

"""Addresses of thresholds, alerts and messages."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []

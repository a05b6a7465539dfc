"""Addresses that need every app."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []

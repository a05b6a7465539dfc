"""Addresses of groups, farms, people and blocks."""

from django.urls import URLPattern, path

from blocks.views import home

urlpatterns: list[URLPattern] = [
    path("", home.home, name="home"),
]

"""Addresses of groups, farms, people and blocks."""

from django.urls import URLPattern, path

from blocks.views import home, people

urlpatterns: list[URLPattern] = [
    path("", home.home, name="home"),
    path("g/<slug:group_slug>/people/", people.people, name="people"),
    path(
        "g/<slug:group_slug>/people/<uuid:membership_uuid>/end/",
        people.end_part,
        name="end-membership",
    ),
]

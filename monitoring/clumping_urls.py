"""Addresses of held clumping and of how sure intervals are."""

from django.urls import URLPattern, path

from monitoring.views import clumping

GROUP = "g/<slug:group_slug>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}how-sure/", clumping.how_sure, name="how-sure"),
    path(f"{GROUP}laboratory/clumping/", clumping.held_clumping, name="held-clumping"),
    path(
        f"{GROUP}laboratory/clumping/learn/",
        clumping.learn_clumping,
        name="learn-clumping",
    ),
]

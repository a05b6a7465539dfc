"""Addresses of rounds, sheets, densities and maps."""

from django.urls import URLPattern, path

from monitoring.views import laboratory

GROUP = "g/<slug:group_slug>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}laboratory/", laboratory.laboratory, name="laboratory"),
    path(
        f"{GROUP}laboratory/organisms/add/",
        laboratory.add_organism,
        name="add-organism",
    ),
    path(
        f"{GROUP}laboratory/organisms/<uuid:organism_uuid>/",
        laboratory.change_organism,
        name="change-organism",
    ),
    path(f"{GROUP}laboratory/dishes/add/", laboratory.add_dish, name="add-dish"),
    path(f"{GROUP}laboratory/dishes/<uuid:dish_uuid>/", laboratory.dish, name="dish"),
    path(
        f"{GROUP}laboratory/dishes/<uuid:dish_uuid>/usual/",
        laboratory.make_dish_usual,
        name="make-dish-usual",
    ),
    path(
        f"{GROUP}laboratory/recoveries/add/",
        laboratory.state_recovery,
        name="state-recovery",
    ),
    path(
        f"{GROUP}laboratory/canopy-weights/",
        laboratory.canopy_weights,
        name="canopy-weights",
    ),
    path(
        f"{GROUP}laboratory/symptom-scale/",
        laboratory.symptom_scale,
        name="symptom-scale",
    ),
]

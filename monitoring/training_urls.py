"""Addresses of training."""

from django.urls import URLPattern, path

from monitoring.views import training, training_pictures

TRAINING = "g/<slug:group_slug>/laboratory/training/"
REFERENCE = f"{TRAINING}dishes/<uuid:reference_uuid>/"

urlpatterns: list[URLPattern] = [
    path(TRAINING, training.training, name="training"),
    path(
        f"{TRAINING}people/<uuid:person_uuid>/",
        training.training_record,
        name="training-record",
    ),
    path(f"{TRAINING}senior/", training.senior_counter, name="senior-counter"),
    path(f"{TRAINING}new/", training.new_reference, name="new-reference"),
    path(REFERENCE, training.reference, name="reference"),
    path(
        f"{REFERENCE}withdraw/", training.withdraw_reference, name="withdraw-reference"
    ),
    path(
        f"{REFERENCE}looks/<str:cell>/<int:part>.png",
        training_pictures.reference_look,
        name="reference-look",
    ),
    path(
        f"{REFERENCE}marks/<str:cell>/<int:part>.png",
        training_pictures.reference_marks,
        name="reference-marks",
    ),
]

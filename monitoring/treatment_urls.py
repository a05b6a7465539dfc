"""Addresses of treatments."""

from django.urls import URLPattern, path

from monitoring.views import treatments

TREATMENTS = "g/<slug:group_slug>/treatments/"
TREATMENT = f"{TREATMENTS}<uuid:treatment_uuid>/"

urlpatterns: list[URLPattern] = [
    path(TREATMENTS, treatments.treatments, name="treatments"),
    path(f"{TREATMENTS}record/", treatments.record_treatment, name="record-treatment"),
    path(TREATMENT, treatments.treatment, name="treatment"),
    path(
        f"{TREATMENT}correct/", treatments.correct_treatment, name="correct-treatment"
    ),
    path(
        f"{TREATMENT}withdraw/",
        treatments.withdraw_treatment,
        name="withdraw-treatment",
    ),
    path(f"{TREATMENT}blocks/<uuid:block_uuid>/", treatments.efficacy, name="efficacy"),
]

"""Addresses of washing."""

from django.urls import URLPattern, path

from monitoring.views import washing

GROUP = "g/<slug:group_slug>/"
BATCH = f"{GROUP}washes/<uuid:batch_uuid>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}laboratory/washing/", washing.washing, name="washing"),
    path(
        f"{GROUP}laboratory/washing/protocol/",
        washing.state_protocol,
        name="state-wash-protocol",
    ),
    path(f"{GROUP}laboratory/washing/mix/", washing.reagents, name="reagents"),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/wash/", washing.enter_batch, name="enter-wash"
    ),
    path(BATCH, washing.batch, name="wash-batch"),
    path(f"{BATCH}correct/", washing.correct_batch, name="correct-wash-batch"),
    path(f"{BATCH}withdraw/", washing.withdraw_batch, name="withdraw-wash-batch"),
]

"""The site's addresses."""

from django.urls import URLPattern, URLResolver, include, path

from deploy.project import health

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("blocks.urls")),
    path("", include("monitoring.urls")),
    path("", include("monitoring.api.urls")),
    path("", include("alerts.urls")),
    path("", include("alerts.api.urls")),
    path("", include("deploy.urls")),
    path("accounts/", include("allauth.account.urls")),
    path("healthz", health.web_is_up, name="healthz"),
    path("readyz", health.all_is_ready, name="readyz"),
]

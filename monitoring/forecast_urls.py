"""Addresses of forecasts and of how well they hold."""

from django.urls import URLPattern, path

from monitoring.views import forecasts

GROUP = "g/<slug:group_slug>/"

urlpatterns: list[URLPattern] = [
    path(
        f"{GROUP}blocks/<uuid:block_uuid>/forecast/",
        forecasts.forecast,
        name="forecast",
    ),
    path(f"{GROUP}forecasts/", forecasts.forecast_backtest, name="forecast-backtest"),
]

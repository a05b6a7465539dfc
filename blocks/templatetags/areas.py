"""Areas in hectares and acres."""

from django import template

from blocks.models.parcels import SQUARE_METRES_PER_ACRE, SQUARE_METRES_PER_HECTARE

register = template.Library()


@register.filter
def hectares(area_m2: float) -> str:
    """Write an area in hectares."""
    return f"{area_m2 / SQUARE_METRES_PER_HECTARE:.2f}"


@register.filter
def acres(area_m2: float) -> str:
    """Write an area in international acres."""
    return f"{area_m2 / SQUARE_METRES_PER_ACRE:.2f}"

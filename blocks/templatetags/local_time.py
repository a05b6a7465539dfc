"""Times as the farm group's clocks show them."""

from datetime import datetime

from django import template
from django.utils import timezone

from blocks.models import FarmGroup

register = template.Library()


@register.filter
def local_time(value: datetime | None, farm_group: FarmGroup) -> datetime | None:
    """Give a time in the farm group's zone."""
    return None if value is None else timezone.localtime(value, farm_group.zone)

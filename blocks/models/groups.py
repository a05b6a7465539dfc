"""Farm groups, their farms, and who works for them."""

from typing import Any, Self
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models.people import User


class GroupQuerySet(models.QuerySet[Any]):
    """Rows that belong to a farm group."""

    def for_group(self, farm_group_id: int) -> Self:
        """Keep the rows of one farm group."""
        return self.filter(farm_group_id=farm_group_id)


def check_time_zone(name: str) -> None:
    """Refuse a time zone that the tz database does not know."""
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ValidationError(
            f"“{name}” is not a time zone; write one such as Europe/Lisbon."
        ) from error


class FarmGroup(models.Model):
    """Who shares the system: farms, people, organisms, dishes and rules."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=60, unique=True)
    time_zone = models.CharField(
        max_length=60, default="UTC", validators=[check_time_zone]
    )
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """The group's time zone; its dates are local dates there."""
        return ZoneInfo(self.time_zone)


class Farm(models.Model):
    """A property of the group."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    name = models.CharField(max_length=120)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "name"], name="blocks_farm_name_in_group"
            )
        ]

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    """A person's part in a farm group, for all of its farms or for named ones."""

    class Role(models.TextChoices):
        """What a member does, and so what they see."""

        COORDINATOR = "coordinator", "coordinator"
        LAB = "lab", "lab analyst"
        CONSULTANT = "consultant", "consultant"
        GROWER = "grower", "grower"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    user = models.ForeignKey(User, models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role)
    all_farms = models.BooleanField(default=True)
    valid_from = models.DateField(default=timezone.localdate)
    # The first day on which it holds no more.
    valid_until = models.DateField(null=True, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "user"], name="blocks_membership_once"
            ),
            models.CheckConstraint(
                condition=Q(role__in=["coordinator", "lab", "consultant", "grower"]),
                name="blocks_membership_role_known",
            ),
            models.CheckConstraint(
                condition=~Q(role="grower") | Q(all_farms=False),
                name="blocks_membership_grower_by_farm",
            ),
            models.CheckConstraint(
                condition=~Q(role__in=["coordinator", "lab"]) | Q(all_farms=True),
                name="blocks_membership_staff_by_group",
            ),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=F("valid_from")),
                name="blocks_membership_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.get_role_display()})"


class MembershipFarm(models.Model):
    """One farm that a member without all farms may see."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    membership = models.ForeignKey(
        Membership, models.CASCADE, db_constraint=False, related_name="farm_grants"
    )
    farm = models.ForeignKey(
        Farm, models.PROTECT, db_constraint=False, related_name="grants"
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "membership", "farm"],
                name="blocks_membershipfarm_once",
            )
        ]

    def __str__(self) -> str:
        return f"membership {self.membership_id} sees farm {self.farm_id}"

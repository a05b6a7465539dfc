"""Blocks: planted parcels with a boundary that may change over the years."""

from uuid import uuid4

from django.contrib.gis.db.models import MultiPolygonField
from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models.groups import Farm, FarmGroup, GroupQuerySet
from blocks.models.people import User

SQUARE_METRES_PER_HECTARE = 10_000.0
# The international acre, 4046.8564224 m2 exactly (NIST Handbook 44, appendix C).
SQUARE_METRES_PER_ACRE = 4046.8564224


class Block(models.Model):
    """A planted parcel: the unit that densities, thresholds and alerts speak of."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    farm = models.ForeignKey(
        Farm, models.PROTECT, db_constraint=False, related_name="blocks"
    )
    name = models.CharField(max_length=120)
    cultivar = models.CharField(max_length=120, blank=True)
    planting_year = models.PositiveSmallIntegerField(null=True, blank=True)
    row_spacing_m = models.FloatField(null=True, blank=True)
    vine_spacing_m = models.FloatField(null=True, blank=True)
    row_direction_deg = models.FloatField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "farm", "name"], name="blocks_block_name_in_farm"
            ),
            models.CheckConstraint(
                condition=Q(planting_year=None)
                | Q(planting_year__gte=1700, planting_year__lte=2200),
                name="blocks_block_planting_year_plausible",
            ),
            models.CheckConstraint(
                condition=Q(row_spacing_m=None)
                | Q(row_spacing_m__gt=0, row_spacing_m__lte=20),
                name="blocks_block_row_spacing_plausible",
            ),
            models.CheckConstraint(
                condition=Q(vine_spacing_m=None)
                | Q(vine_spacing_m__gt=0, vine_spacing_m__lte=20),
                name="blocks_block_vine_spacing_plausible",
            ),
            models.CheckConstraint(
                condition=Q(row_direction_deg=None)
                | Q(row_direction_deg__gte=0, row_direction_deg__lt=180),
                name="blocks_block_row_direction_half_turn",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class BlockBoundary(models.Model):
    """A block's boundary from a date on; rounds keep the boundary of their day."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    block = models.ForeignKey(
        Block, models.PROTECT, db_constraint=False, related_name="boundaries"
    )
    geometry = MultiPolygonField(srid=4326)
    # On the ellipsoid, by the database: it cannot be typed in.
    area_m2 = models.GeneratedField(
        expression=models.Func(
            models.F("geometry"), template="ST_Area((%(expressions)s)::geography)"
        ),
        output_field=models.FloatField(),
        db_persist=True,
    )
    valid_from = models.DateField()
    source = models.CharField(max_length=200, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "block", "valid_from"],
                name="blocks_blockboundary_one_a_day",
            ),
            models.CheckConstraint(
                condition=Q(area_m2__gt=0), name="blocks_blockboundary_has_area"
            ),
        ]

    def __str__(self) -> str:
        return f"boundary of block {self.block_id} from {self.valid_from}"

    @property
    def area_ha(self) -> float:
        """Area in hectares."""
        return float(self.area_m2) / SQUARE_METRES_PER_HECTARE

    @property
    def area_acres(self) -> float:
        """Area in international acres."""
        return float(self.area_m2) / SQUARE_METRES_PER_ACRE

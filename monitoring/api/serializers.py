"""Write blocks and densities as JSON, each figure with its unit."""

from typing import Any

from rest_framework import serializers

from blocks.models import Block
from monitoring.models import Density, Tissue

INTERVAL_PROBABILITY = 0.95


class BlockSerializer(serializers.ModelSerializer[Block]):
    """A block, with its area from the boundary in force today."""

    farm = serializers.CharField(source="farm.name", read_only=True)
    area_m2 = serializers.FloatField(
        allow_null=True, help_text="On the ellipsoid; null without a boundary."
    )

    class Meta:
        model = Block
        fields = (
            "uuid",
            "farm",
            "name",
            "cultivar",
            "planting_year",
            "row_spacing_m",
            "vine_spacing_m",
            "row_direction_deg",
            "area_m2",
        )
        read_only_fields = fields


class DensitySerializer(serializers.ModelSerializer[Density]):
    """A round's density with its interval, and where it came from."""

    collected_on = serializers.DateField(source="round.collected_on")
    growth_stage = serializers.CharField(source="round.growth_stage")
    round_uuid = serializers.UUIDField(source="round.uuid")
    organism = serializers.CharField(source="organism.code")
    position = serializers.CharField(
        source="stratum", help_text="A canopy position; empty for the whole round."
    )
    unit = serializers.SerializerMethodField()
    median_per_unit = serializers.FloatField(source="median", allow_null=True)
    low_per_unit = serializers.FloatField(source="low", allow_null=True)
    high_per_unit = serializers.FloatField(
        source="high", allow_null=True, help_text="Null: these bags give no upper end."
    )
    sample_mean_per_unit = serializers.FloatField(source="sample_mean", allow_null=True)
    interval_probability = serializers.SerializerMethodField()

    class Meta:
        model = Density
        fields = (
            "uuid",
            "round_uuid",
            "collected_on",
            "growth_stage",
            "tissue",
            "organism",
            "position",
            "unit",
            "median_per_unit",
            "low_per_unit",
            "high_per_unit",
            "interval_probability",
            "sample_mean_per_unit",
            "k_median",
            "at_least",
            "reason",
            "bags_used",
            "bags_missing",
            "bags_uncountable",
            "method",
            "method_version",
            "inputs_digest",
            "computed_at",
        )
        read_only_fields = fields

    def get_unit(self, density: Density) -> str:
        """Name the unit of every `_per_unit` figure of the row."""
        return f"animals per {density.tissue}"

    def get_interval_probability(self, density: Density) -> float:
        """Give the probability between the two ends of the interval."""
        return INTERVAL_PROBABILITY


class WantedSerializer(serializers.Serializer[Any]):
    """What may be asked of a block's densities, in the query string."""

    tissue = serializers.ChoiceField(choices=Tissue.choices, required=False)
    organism = serializers.CharField(max_length=40, required=False)
    since = serializers.DateField(required=False)
    until = serializers.DateField(required=False)

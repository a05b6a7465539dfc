"""Write blocks and densities as JSON, each figure with its unit."""

from typing import Any

from rest_framework import serializers

from blocks.models import Block
from monitoring.models import Density, Ratio, Tissue

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


class RatioSerializer(serializers.ModelSerializer[Ratio]):
    """A round's predators per prey with its interval, or in words why there is none.

    `reason` says that no prey, no predators or neither was found. Without prey there
    is no figure; without predators only `high_predators_per_prey` says something.
    """

    collected_on = serializers.DateField(source="round.collected_on")
    round_uuid = serializers.UUIDField(source="round.uuid")
    predator = serializers.CharField(source="predator.code")
    prey = serializers.CharField(source="prey.code")
    median_predators_per_prey = serializers.SerializerMethodField(allow_null=True)
    low_predators_per_prey = serializers.FloatField(source="low", allow_null=True)
    high_predators_per_prey = serializers.FloatField(
        source="high", allow_null=True, help_text="Null: these bags give no upper end."
    )
    interval_probability = serializers.SerializerMethodField()
    rank_correlation = serializers.SerializerMethodField()
    recoveries_shared = serializers.SerializerMethodField()

    class Meta:
        model = Ratio
        fields = (
            "uuid",
            "round_uuid",
            "collected_on",
            "tissue",
            "predator",
            "prey",
            "median_predators_per_prey",
            "low_predators_per_prey",
            "high_predators_per_prey",
            "interval_probability",
            "reason",
            "at_least",
            "bags_used",
            "rank_correlation",
            "recoveries_shared",
            "method",
            "method_version",
            "inputs_digest",
            "computed_at",
        )
        read_only_fields = fields

    def get_median_predators_per_prey(self, ratio: Ratio) -> float | None:
        """Give the middle of the ratio; 0 where no predators were found."""
        return 0.0 if ratio.low == 0 else ratio.median

    def get_interval_probability(self, ratio: Ratio) -> float:
        """Give the probability between the two ends of the interval."""
        return INTERVAL_PROBABILITY

    def get_rank_correlation(self, ratio: Ratio) -> float:
        """Give Spearman's correlation between the bags' counts of the two."""
        return float(ratio.used["rank_correlation"])

    def get_recoveries_shared(self, ratio: Ratio) -> bool:
        """Tell whether both were taken to come off the tissue alike."""
        return bool(ratio.used["shared_recovery"])


class WantedSerializer(serializers.Serializer[Any]):
    """What may be asked of a block's densities, in the query string."""

    tissue = serializers.ChoiceField(choices=Tissue.choices, required=False)
    organism = serializers.CharField(max_length=40, required=False)
    since = serializers.DateField(required=False)
    until = serializers.DateField(required=False)

"""Write alerts as JSON, each with its history and the figures it was judged by."""

from typing import Any

from rest_framework import serializers

from alerts.models import Alert, Transition

STANDING = "standing"
ENDED = "ended"


class TransitionSerializer(serializers.ModelSerializer[Transition]):
    """One step in an alert's history.

    Figures are animals per unit of the alert's tissue; for a predator ratio, predators
    per prey.
    """

    round_uuid = serializers.UUIDField(source="round.uuid", default=None)
    collected_on = serializers.DateField(source="round.collected_on", default=None)
    threshold_uuid = serializers.UUIDField(source="version.threshold.uuid")
    threshold_version = serializers.IntegerField(source="version.number")
    threshold = serializers.FloatField(source="version.level")
    clear_level = serializers.FloatField(source="version.clear_level")
    chance = serializers.FloatField(
        allow_null=True,
        help_text="Of being above the threshold (below it, for a ratio); 0 to 1.",
    )
    high = serializers.FloatField(
        allow_null=True, help_text="Null: these bags give no upper end."
    )

    class Meta:
        model = Transition
        fields = (
            "uuid",
            "kind",
            "at",
            "sentence",
            "reason",
            "quiet",
            "round_uuid",
            "collected_on",
            "chance",
            "median",
            "low",
            "high",
            "bags",
            "threshold_uuid",
            "threshold_version",
            "threshold",
            "clear_level",
        )
        read_only_fields = fields


class AlertSerializer(serializers.ModelSerializer[Alert]):
    """An alert on a block, standing or ended."""

    farm = serializers.CharField(source="block.farm.name")
    block = serializers.CharField(source="block.name")
    block_uuid = serializers.UUIDField(source="block.uuid")
    organism = serializers.CharField(source="organism.code")
    prey = serializers.CharField(
        source="prey.code",
        default=None,
        help_text="Set for a predator ratio; else null.",
    )
    state = serializers.SerializerMethodField()
    unit = serializers.SerializerMethodField()
    history = TransitionSerializer(many=True)

    class Meta:
        model = Alert
        fields = (
            "uuid",
            "state",
            "farm",
            "block",
            "block_uuid",
            "tissue",
            "organism",
            "prey",
            "unit",
            "raised_at",
            "ended_at",
            "history",
        )
        read_only_fields = fields

    def get_state(self, alert: Alert) -> str:
        """Say whether it stands."""
        return STANDING if alert.ended_at is None else ENDED

    def get_unit(self, alert: Alert) -> str:
        """Name the unit of the history's figures, threshold and clear level."""
        if alert.prey_id is None:
            return f"animals per {alert.tissue}"
        return "predators per prey"


class WantedAlertsSerializer(serializers.Serializer[Any]):
    """Which alerts may be asked for, in the query string."""

    state = serializers.ChoiceField(choices=[STANDING, ENDED], required=False)
    block = serializers.UUIDField(required=False)

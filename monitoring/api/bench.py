"""Take in the events of benches."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blocks.access import COUNTERS
from blocks.api.doors import GroupAPIView
from blocks.api.strict_json import StrictJSONParser
from monitoring.bench.events import read_batch
from monitoring.services.bench_events import take_in

MAY_BE_NONE: dict[str, Any] = {"required": False, "allow_null": True}


class BenchEventSerializer(serializers.Serializer[Any]):
    """One act at a device, as the device tells it."""

    id = serializers.UUIDField()
    sequence = serializers.IntegerField(
        min_value=1, help_text="Counts the device's events from 1, without a gap."
    )
    schema = serializers.IntegerField(help_text="1.")
    kind = serializers.CharField(max_length=20)
    at = serializers.DateTimeField(help_text="By the device's clock.")
    author = serializers.UUIDField(help_text="Who did it.")
    reading = serializers.UUIDField(
        **MAY_BE_NONE, help_text="Null for acts beside readings."
    )
    payload = serializers.DictField(help_text="By kind; at most 8,000 bytes.")


BATCH = inline_serializer(
    "BenchBatch",
    {
        "schema": serializers.IntegerField(help_text="1."),
        "device": inline_serializer(
            "BenchBatchDevice",
            {
                "id": serializers.UUIDField(),
                "name": serializers.CharField(max_length=60, required=False),
            },
        ),
        "sent_at": serializers.DateTimeField(help_text="By the device's clock."),
        "unsent": serializers.IntegerField(
            min_value=0, help_text="Events that wait, those of this batch included."
        ),
        "oldest_unsent_at": serializers.DateTimeField(**MAY_BE_NONE),
        "events": BenchEventSerializer(many=True, help_text="At most 500."),
    },
)
ANSWER = inline_serializer(
    "BenchAnswer",
    {
        "server_time": serializers.DateTimeField(),
        "results": inline_serializer(
            "BenchResult",
            {
                "id": serializers.CharField(allow_null=True),
                "status": serializers.ChoiceField(
                    ["stored", "known", "held", "refused"]
                ),
                "why": serializers.CharField(allow_blank=True),
                "later": serializers.BooleanField(
                    required=False, help_text="Send it again once the site is updated."
                ),
                "copied": serializers.BooleanField(
                    required=False,
                    help_text="The device must go on under a new key.",
                ),
            },
            many=True,
        ),
        "missing": serializers.ListField(
            child=serializers.ListField(
                child=serializers.IntegerField(), min_length=2, max_length=2
            ),
            help_text="Ranges of numbers to send again, at most 50.",
        ),
        "complete_to": serializers.IntegerField(),
        "highest": serializers.IntegerField(),
        "clock_ahead_s": serializers.FloatField(),
        "readings": inline_serializer(
            "BenchReadingTold",
            {
                "id": serializers.UUIDField(),
                "state": serializers.CharField(),
                "why": serializers.CharField(allow_blank=True),
                "bag": serializers.UUIDField(allow_null=True),
                "url": serializers.CharField(allow_blank=True),
            },
            many=True,
        ),
        "words": serializers.ListField(
            child=serializers.CharField(), help_text="What a person should know."
        ),
    },
)


class BenchEvents(GroupAPIView):
    """What devices at benches and in the field did."""

    allowed_roles = COUNTERS
    parser_classes = (StrictJSONParser,)

    @extend_schema(request=BATCH, responses=ANSWER, operation_id="bench_events_send")
    def post(self, request: Request, *, group_slug: str) -> Response:
        """Store a batch of events, each once however often it is sent.

        One that is refused does not refuse the others.
        """
        batch = read_batch(request.data)
        return Response(take_in(self.member, batch, now=timezone.now()))

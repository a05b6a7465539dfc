"""Keep what benches tell: devices, events, readings, photographs, tallies from them."""

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup


REFUSE = """
CREATE FUNCTION monitoring_bench_events_refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'The events of a bench are only added to.'
        USING ERRCODE = 'restrict_violation';
END $$
"""
GUARD = (
    "CREATE TRIGGER only_added_to BEFORE UPDATE OR DELETE ON monitoring_benchevent"
    " FOR EACH ROW EXECUTE FUNCTION monitoring_bench_events_refuse_change()"
)
WALLS = [
    GuardRows("BenchDevice"),
    GuardRows("BenchEvent"),
    GuardRows("BenchReading"),
    GuardRows("BagPhoto"),
    KeepWithinGroup("BenchEvent", "device"),
    KeepWithinGroup("BenchReading", "device"),
    KeepWithinGroup("BenchReading", "bag"),
    KeepWithinGroup("BenchReading", "dish"),
    KeepWithinGroup("BagPhoto", "bag"),
    KeepWithinGroup("Tally", "source_reading"),
    migrations.RunSQL(REFUSE, "DROP FUNCTION monitoring_bench_events_refuse_change()"),
    migrations.RunSQL(GUARD, "DROP TRIGGER only_added_to ON monitoring_benchevent"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0016_bags_labels_and_steps"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="tally",
            name="animals_in_dish",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="tally",
            name="blind",
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AddField(
            model_name="tally",
            name="magnification",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="tally",
            name="pilot_cells",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name="tally",
            name="source_row",
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name="tally",
            name="source_sheet",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="tallies",
                to="monitoring.sheet",
            ),
        ),
        migrations.CreateModel(
            name="BagPhoto",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4)),
                ("stored_name", models.CharField(max_length=100)),
                ("sha256", models.CharField(max_length=64)),
                ("size_bytes", models.PositiveIntegerField()),
                ("width_px", models.PositiveIntegerField()),
                ("height_px", models.PositiveIntegerField()),
                ("note", models.CharField(blank=True, max_length=300)),
                ("taken_at", models.DateTimeField(blank=True, null=True)),
                (
                    "received_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "bag",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photos",
                        to="monitoring.bag",
                    ),
                ),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "taken_by",
                    models.ForeignKey(
                        blank=True,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BenchDevice",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                ("uuid", models.UUIDField()),
                ("name", models.CharField(blank=True, max_length=60)),
                (
                    "first_seen_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "last_seen_at",
                    models.DateTimeField(default=django.utils.timezone.now),
                ),
                ("complete_to", models.PositiveBigIntegerField(default=0)),
                ("highest_sequence", models.PositiveBigIntegerField(default=0)),
                ("unsent", models.PositiveIntegerField(default=0)),
                ("oldest_unsent_at", models.DateTimeField(blank=True, null=True)),
                ("clock_ahead_s", models.FloatField(default=0.0)),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "last_person",
                    models.ForeignKey(
                        blank=True,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BenchEvent",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                ("uuid", models.UUIDField()),
                ("sequence", models.PositiveBigIntegerField()),
                ("schema", models.PositiveSmallIntegerField(default=1)),
                ("kind", models.CharField(max_length=20)),
                ("reading_uuid", models.UUIDField(blank=True, null=True)),
                ("payload", models.JSONField(blank=True, default=dict)),
                ("device_at", models.DateTimeField()),
                (
                    "received_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("refusal", models.CharField(blank=True, max_length=300)),
                (
                    "author",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="events",
                        to="monitoring.benchdevice",
                    ),
                ),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "sent_by",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BenchReading",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                ("uuid", models.UUIDField()),
                ("bag_uuid", models.UUIDField()),
                ("wash_number", models.PositiveSmallIntegerField(default=1)),
                ("dish_number", models.PositiveSmallIntegerField(default=1)),
                ("recount", models.BooleanField(default=False)),
                ("blind", models.BooleanField(default=False)),
                ("magnification", models.FloatField(blank=True, null=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "being counted"),
                            ("published", "published"),
                            ("waiting", "waits for a person"),
                            ("quarantined", "set apart"),
                            ("set_aside", "set aside"),
                            ("dropped", "dropped at the bench"),
                        ],
                        default="open",
                        max_length=12,
                    ),
                ),
                ("why", models.TextField(blank=True)),
                ("told", models.JSONField(blank=True, default=dict)),
                ("started_at", models.DateTimeField(blank=True, null=True)),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                (
                    "first_received_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("decided_at", models.DateTimeField(blank=True, null=True)),
                ("decided_why", models.CharField(blank=True, max_length=300)),
                (
                    "analyst",
                    models.ForeignKey(
                        blank=True,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "bag",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bench_readings",
                        to="monitoring.bag",
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        blank=True,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="monitoring.benchdevice",
                    ),
                ),
                (
                    "dish",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.dish",
                    ),
                ),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="tally",
            name="source_reading",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="tallies",
                to="monitoring.benchreading",
            ),
        ),
        migrations.AddIndex(
            model_name="tally",
            index=models.Index(
                condition=models.Q(("source_reading__isnull", False)),
                fields=["farm_group", "source_reading"],
                name="monitoring_tally_by_reading",
            ),
        ),
        migrations.AddConstraint(
            model_name="tally",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("source_reading", None),
                        ("source_row__isnull", False),
                        ("source_sheet__isnull", False),
                    ),
                    models.Q(
                        ("source_reading__isnull", False),
                        ("source_row", None),
                        ("source_sheet", None),
                    ),
                    _connector="OR",
                ),
                name="monitoring_tally_one_source",
            ),
        ),
        migrations.AddConstraint(
            model_name="tally",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("animals_in_dish", None), ("pilot_cells", None)),
                    models.Q(
                        ("animals_in_dish__gte", models.F("count")),
                        ("outcome", "counted"),
                        ("pilot_cells__gte", 1),
                        ("pilot_cells__lt", models.F("cells_counted")),
                        ("scope", "named_cells"),
                    ),
                    _connector="OR",
                ),
                name="monitoring_tally_two_stages_whole",
            ),
        ),
        migrations.AddIndex(
            model_name="bagphoto",
            index=models.Index(
                fields=["farm_group", "bag"], name="monitoring_bagphoto_of_bag"
            ),
        ),
        migrations.AddConstraint(
            model_name="bagphoto",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "uuid"), name="monitoring_bagphoto_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="benchdevice",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "uuid"), name="monitoring_benchdevice_once"
            ),
        ),
        migrations.AddIndex(
            model_name="benchevent",
            index=models.Index(
                condition=models.Q(("reading_uuid__isnull", False)),
                fields=["farm_group", "reading_uuid", "sequence"],
                name="monitoring_benchevent_reading",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchevent",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "uuid"), name="monitoring_benchevent_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="benchevent",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "device", "sequence"),
                name="monitoring_benchevent_number_of_device",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchevent",
            constraint=models.CheckConstraint(
                condition=models.Q(("sequence__gte", 1)),
                name="monitoring_benchevent_from_one",
            ),
        ),
        migrations.AddIndex(
            model_name="benchreading",
            index=models.Index(
                condition=models.Q(("state__in", ["open", "waiting", "quarantined"])),
                fields=["farm_group", "state"],
                name="monitoring_benchreading_to_do",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchreading",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "uuid"), name="monitoring_benchreading_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="benchreading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("decided_at", None), ("decided_why", "")),
                    ("decided_at__isnull", False),
                    _connector="OR",
                ),
                name="monitoring_benchreading_decided_whole",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("dish_number__gte", 1), ("wash_number__gte", 1)),
                name="monitoring_benchreading_numbers_from_one",
            ),
        ),
        *WALLS,
    ]

"""Keep daily weather, how degree-days are summed, and changed growth stages."""

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

WALLS = [
    GuardRows("WeatherStation"),
    GuardRows("WeatherUpload"),
    GuardRows("WeatherDay"),
    GuardRows("DegreeDayRule"),
    GuardRows("GrowthStageChange"),
    KeepWithinGroup("WeatherStation", "farm"),
    KeepWithinGroup("WeatherUpload", "station"),
    KeepWithinGroup("WeatherDay", "station"),
    KeepWithinGroup("WeatherDay", "source_upload"),
    KeepWithinGroup("WeatherDay", "supersedes"),
    KeepWithinGroup("DegreeDayRule", "farm"),
    KeepWithinGroup("GrowthStageChange", "round"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0005_counter_agreement"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="GrowthStageChange",
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
                ("stage_before", models.CharField(blank=True, max_length=8)),
                ("stage_after", models.CharField(blank=True, max_length=8)),
                (
                    "changed_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "changed_by",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
                    "round",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stage_changes",
                        to="monitoring.round",
                    ),
                ),
            ],
            options={
                "ordering": ["changed_at", "pk"],
            },
        ),
        migrations.CreateModel(
            name="WeatherStation",
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
                (
                    "uuid",
                    models.UUIDField(default=uuid.uuid4, editable=False, unique=True),
                ),
                ("name", models.CharField(max_length=60)),
                ("is_usual", models.BooleanField(default=False)),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "farm",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="weather_stations",
                        to="blocks.farm",
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
        migrations.CreateModel(
            name="WeatherUpload",
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
                (
                    "uuid",
                    models.UUIDField(default=uuid.uuid4, editable=False, unique=True),
                ),
                ("file_name", models.CharField(max_length=255)),
                ("stored_name", models.CharField(max_length=100)),
                ("sha256", models.CharField(max_length=64)),
                ("size_bytes", models.PositiveBigIntegerField()),
                (
                    "unit",
                    models.CharField(
                        choices=[("C", "degrees Celsius"), ("F", "degrees Fahrenheit")],
                        max_length=1,
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("read", "read"),
                            ("refused", "could not be read"),
                            ("published", "published"),
                            ("discarded", "put aside"),
                        ],
                        default="read",
                        max_length=10,
                    ),
                ),
                ("answers", models.JSONField(default=dict)),
                ("preview", models.JSONField(default=dict)),
                (
                    "uploaded_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("published_at", models.DateTimeField(blank=True, null=True)),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "station",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="uploads",
                        to="monitoring.weatherstation",
                    ),
                ),
                (
                    "uploaded_by",
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
            name="WeatherDay",
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
                ("measured_on", models.DateField()),
                ("minimum_deg_c", models.FloatField(blank=True, null=True)),
                ("maximum_deg_c", models.FloatField(blank=True, null=True)),
                (
                    "quality",
                    models.CharField(
                        choices=[
                            ("measured", "measured"),
                            ("estimated", "estimated"),
                            ("doubtful", "doubtful"),
                            ("missing", "missing"),
                        ],
                        max_length=10,
                    ),
                ),
                ("source_row", models.PositiveIntegerField()),
                ("is_current", models.BooleanField(default=True)),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "created_by",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
                    "supersedes",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.weatherday",
                    ),
                ),
                (
                    "station",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="days",
                        to="monitoring.weatherstation",
                    ),
                ),
                (
                    "source_upload",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="days",
                        to="monitoring.weatherupload",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DegreeDayRule",
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
                ("starts_on", models.DateField()),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("average", "average of minimum and maximum"),
                            ("single_triangle", "single triangle"),
                            ("single_sine", "single sine"),
                            ("double_sine", "double sine"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "cutoff",
                    models.CharField(
                        choices=[
                            (
                                "horizontal",
                                "horizontal: no faster above the upper threshold",
                            ),
                            ("vertical", "vertical: stands still above it"),
                            ("intermediate", "intermediate: slows down again above it"),
                        ],
                        max_length=12,
                    ),
                ),
                ("lower_deg_c", models.FloatField()),
                ("upper_deg_c", models.FloatField(blank=True, null=True)),
                ("reason", models.CharField(max_length=300)),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "created_by",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "farm",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="degree_day_rules",
                        to="blocks.farm",
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
            options={
                "indexes": [
                    models.Index(
                        fields=["farm_group", "farm", "starts_on", "id"],
                        name="monitoring_ddrule_in_force",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("upper_deg_c", None),
                            ("upper_deg_c__gt", models.F("lower_deg_c")),
                            _connector="OR",
                        ),
                        name="monitoring_degreedayrule_thresholds_in_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("method", "average"), _negated=True),
                            ("cutoff", "horizontal"),
                            _connector="OR",
                        ),
                        name="monitoring_degreedayrule_average_horizontal",
                    ),
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="weatherstation",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "farm", "name"),
                name="monitoring_weatherstation_name_in_farm",
            ),
        ),
        migrations.AddConstraint(
            model_name="weatherstation",
            constraint=models.UniqueConstraint(
                condition=models.Q(("is_usual", True)),
                fields=("farm_group", "farm"),
                name="monitoring_weatherstation_one_usual",
            ),
        ),
        migrations.AddIndex(
            model_name="weatherupload",
            index=models.Index(
                fields=["farm_group", "station", "-uploaded_at"],
                name="monitoring_weather_newest",
            ),
        ),
        migrations.AddConstraint(
            model_name="weatherupload",
            constraint=models.UniqueConstraint(
                condition=models.Q(("state", "published")),
                fields=("farm_group", "station", "sha256", "unit"),
                name="monitoring_weatherupload_published_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="weatherday",
            constraint=models.UniqueConstraint(
                condition=models.Q(("is_current", True)),
                fields=("farm_group", "station", "measured_on"),
                name="monitoring_weatherday_one_current",
            ),
        ),
        migrations.AddConstraint(
            model_name="weatherday",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("maximum_deg_c", None),
                        ("minimum_deg_c", None),
                        ("quality", "missing"),
                    ),
                    models.Q(
                        ("maximum_deg_c__isnull", False),
                        ("maximum_deg_c__lte", 60.0),
                        ("minimum_deg_c__gte", -90.0),
                        ("minimum_deg_c__isnull", False),
                        ("minimum_deg_c__lte", models.F("maximum_deg_c")),
                        ("quality__in", ["measured", "estimated", "doubtful"]),
                    ),
                    _connector="OR",
                ),
                name="monitoring_weatherday_both_or_missing",
            ),
        ),
        migrations.AddConstraint(
            model_name="weatherday",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("supersedes", None),
                    models.Q(("supersedes", models.F("id")), _negated=True),
                    _connector="OR",
                ),
                name="monitoring_weatherday_not_its_own_past",
            ),
        ),
        *WALLS,
    ]

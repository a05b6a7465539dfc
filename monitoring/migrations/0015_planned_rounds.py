"""Plan rounds: plans, sample points, intervals and calendar addresses."""

import django.contrib.gis.db.models.fields
import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models


from blocks.walls import GuardRows, KeepWithinGroup

WALLS = [
    GuardRows("RoundPlan"),
    GuardRows("SamplePoint"),
    GuardRows("RoundSetting"),
    GuardRows("CalendarFeed"),
    KeepWithinGroup("RoundPlan", "block"),
    KeepWithinGroup("RoundPlan", "organism"),
    KeepWithinGroup("RoundPlan", "boundary"),
    KeepWithinGroup("RoundPlan", "same_as"),
    KeepWithinGroup("SamplePoint", "plan"),
    KeepWithinGroup("RoundSetting", "block"),
    KeepWithinGroup("CalendarFeed", "membership"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0014_wash_batches"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="CalendarFeed",
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
                ("secret", models.UUIDField(default=uuid.uuid4)),
                ("made_at", models.DateTimeField(default=django.utils.timezone.now)),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "membership",
                    models.OneToOneField(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="calendar_feed",
                        to="blocks.membership",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="RoundPlan",
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
                ("planned_on", models.DateField()),
                (
                    "tissue",
                    models.CharField(
                        choices=[("leaf", "leaf"), ("shoot", "shoot"), ("bud", "bud")],
                        max_length=10,
                    ),
                ),
                (
                    "growth_scale",
                    models.CharField(
                        blank=True,
                        choices=[("BBCH", "BBCH"), ("EL", "modified E-L")],
                        max_length=4,
                    ),
                ),
                ("growth_code", models.CharField(blank=True, max_length=3)),
                (
                    "aim",
                    models.CharField(
                        choices=[
                            ("precision", "a precision"),
                            ("threshold", "above or below the threshold"),
                            ("stated", "a number that you state"),
                        ],
                        max_length=10,
                    ),
                ),
                ("basis", models.TextField(blank=True)),
                ("minutes_per_bag", models.FloatField()),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("balanced", "spread evenly"),
                            ("random", "plain random"),
                            ("same", "the same vines again"),
                        ],
                        max_length=10,
                    ),
                ),
                ("seed", models.PositiveIntegerField()),
                ("buffer_m", models.FloatField()),
                ("row_direction_deg", models.FloatField(blank=True, null=True)),
                ("row_spacing_m", models.FloatField(blank=True, null=True)),
                ("vine_spacing_m", models.FloatField(blank=True, null=True)),
                ("strata", models.JSONField()),
                (
                    "planned_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                (
                    "block",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="plans",
                        to="blocks.block",
                    ),
                ),
                (
                    "boundary",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="blocks.blockboundary",
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
                    "organism",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.organism",
                    ),
                ),
                (
                    "planned_by",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "same_as",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.roundplan",
                    ),
                ),
                (
                    "withdrawn_by",
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
            name="RoundSetting",
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
                    "interval_days",
                    models.PositiveSmallIntegerField(blank=True, null=True),
                ),
                ("minutes_per_bag", models.FloatField(blank=True, null=True)),
                ("changed_at", models.DateTimeField(default=django.utils.timezone.now)),
                (
                    "block",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="blocks.block",
                    ),
                ),
                (
                    "changed_by",
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
            ],
        ),
        migrations.CreateModel(
            name="SamplePoint",
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
                ("number", models.PositiveSmallIntegerField()),
                ("drawn", models.PositiveSmallIntegerField()),
                ("position", models.CharField(blank=True, max_length=20)),
                ("point", django.contrib.gis.db.models.fields.PointField(srid=4326)),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="points",
                        to="monitoring.roundplan",
                    ),
                ),
            ],
            options={
                "ordering": ["number"],
            },
        ),
        migrations.AddIndex(
            model_name="roundplan",
            index=models.Index(
                fields=["farm_group", "block", "-planned_on"],
                name="monitoring_roundplan_by_block",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundplan",
            constraint=models.UniqueConstraint(
                condition=models.Q(("withdrawn_at", None)),
                fields=("farm_group", "block", "planned_on", "tissue"),
                name="monitoring_roundplan_one_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundplan",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("growth_code", ""), ("growth_scale", "")),
                    models.Q(
                        ("growth_scale__in", ["BBCH", "EL"]),
                        models.Q(("growth_code", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="monitoring_roundplan_growth_stage_whole",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundplan",
            constraint=models.CheckConstraint(
                condition=models.Q(("buffer_m__gte", 0), ("minutes_per_bag__gt", 0)),
                name="monitoring_roundplan_amounts_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundplan",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("method", "same"), ("same_as__isnull", False)),
                    models.Q(("method__in", ["balanced", "random"]), ("same_as", None)),
                    _connector="OR",
                ),
                name="monitoring_roundplan_method_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundplan",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("row_direction_deg", None),
                        ("row_spacing_m", None),
                        ("vine_spacing_m", None),
                    ),
                    models.Q(
                        ("row_direction_deg__isnull", False),
                        ("row_spacing_m__gt", 0),
                        ("vine_spacing_m__gt", 0),
                    ),
                    _connector="OR",
                ),
                name="monitoring_roundplan_rows_whole",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundsetting",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "block"),
                name="monitoring_roundsetting_one_a_block",
                nulls_distinct=False,
            ),
        ),
        migrations.AddConstraint(
            model_name="roundsetting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("interval_days", None),
                    models.Q(("interval_days__gte", 1), ("interval_days__lte", 366)),
                    _connector="OR",
                ),
                name="monitoring_roundsetting_interval_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="roundsetting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("minutes_per_bag", None),
                    models.Q(
                        ("block", None),
                        ("minutes_per_bag__gt", 0),
                        ("minutes_per_bag__lte", 600),
                    ),
                    _connector="OR",
                ),
                name="monitoring_roundsetting_minutes_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="samplepoint",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "plan", "number"),
                name="monitoring_samplepoint_number_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="samplepoint",
            constraint=models.CheckConstraint(
                condition=models.Q(("drawn__gte", 1), ("number__gte", 1)),
                name="monitoring_samplepoint_from_one",
            ),
        ),
        *WALLS,
    ]

"""Keep symptom scores with who, when and where from, and name their levels."""

import uuid

import django.contrib.postgres.fields
import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

WALLS = [
    GuardRows("RatioSetting"),
    GuardRows("SymptomScore"),
    KeepWithinGroup("SymptomScore", "bag"),
    KeepWithinGroup("SymptomScore", "scale"),
    KeepWithinGroup("SymptomScore", "source_sheet"),
    KeepWithinGroup("SymptomScore", "supersedes"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0006_weather_and_stages"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="symptomscale",
            name="level_names",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(max_length=60),
                blank=True,
                default=list,
                size=None,
            ),
        ),
        migrations.CreateModel(
            name="RatioSetting",
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
                ("recoveries_shared", models.BooleanField()),
                ("note", models.CharField(blank=True, max_length=300)),
                ("valid_from", models.DateField()),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "created_by",
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
                        fields=["farm_group", "valid_from"],
                        name="monitoring_ratiosetting_since",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="SymptomScore",
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
                ("score", models.SmallIntegerField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("published", "published"),
                            ("superseded", "superseded"),
                        ],
                        default="published",
                        max_length=10,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=300)),
                ("source_row", models.PositiveIntegerField(blank=True, null=True)),
                ("scored_on", models.DateField(blank=True, null=True)),
                ("scorer_name", models.CharField(blank=True, max_length=120)),
                (
                    "created_at",
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
                        related_name="scores",
                        to="monitoring.bag",
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
                    "scale",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.symptomscale",
                    ),
                ),
                (
                    "scorer",
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
                    "source_sheet",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.sheet",
                    ),
                ),
                (
                    "supersedes",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="monitoring.symptomscore",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        fields=["farm_group", "bag"],
                        name="monitoring_symptomscore_by_bag",
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("state", "published")),
                        fields=("farm_group", "bag"),
                        name="monitoring_symptomscore_one_published",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("source_row", None), ("source_sheet", None)),
                            models.Q(
                                ("source_row__isnull", False),
                                ("source_sheet__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="monitoring_symptomscore_source_whole",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("supersedes", None),
                            models.Q(("supersedes", models.F("id")), _negated=True),
                            _connector="OR",
                        ),
                        name="monitoring_symptomscore_not_its_own_past",
                    ),
                ],
            },
        ),
        *WALLS,
    ]

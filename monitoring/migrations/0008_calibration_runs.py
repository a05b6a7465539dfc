import uuid

import django.contrib.postgres.fields
import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

# What was measured stays; only whether the run still counts may change, once.
KEEP = """
CREATE FUNCTION monitoring_keep_calibration() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' OR OLD.state <> 'standing' OR
        (to_jsonb(NEW) - '{state,reason,ended_at,ended_by_id}'::text[])
        <> (to_jsonb(OLD) - '{state,reason,ended_at,ended_by_id}'::text[])
    THEN
        RAISE EXCEPTION 'A calibration run is never changed, only ended.'
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$
"""
GUARD = (
    "CREATE TRIGGER only_ended BEFORE UPDATE OR DELETE ON monitoring_calibrationrun"
    " FOR EACH ROW EXECUTE FUNCTION monitoring_keep_calibration()"
)


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0007_symptom_scores"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="recovery",
            name="basis",
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AlterField(
            model_name="recovery",
            name="origin",
            field=models.CharField(
                choices=[
                    ("common_practice", "common practice"),
                    ("published", "published work"),
                    ("unmeasured", "unmeasured, as for rust mites"),
                    ("repeat_washes", "the laboratory's repeat washes"),
                    ("spikes", "the laboratory's spiked samples"),
                    ("calibration", "the laboratory's washes and spiked samples"),
                    ("stated", "stated by the coordinator"),
                ],
                max_length=20,
            ),
        ),
        migrations.CreateModel(
            name="CalibrationRun",
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
                (
                    "tissue",
                    models.CharField(
                        choices=[("leaf", "leaf"), ("shoot", "shoot"), ("bud", "bud")],
                        max_length=10,
                    ),
                ),
                ("method", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("repeat_washes", "repeat washes"),
                            ("spikes", "spiked samples"),
                        ],
                        max_length=13,
                    ),
                ),
                (
                    "catches",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.PositiveIntegerField(),
                        blank=True,
                        default=list,
                        size=None,
                    ),
                ),
                ("added", models.PositiveIntegerField(blank=True, null=True)),
                ("recovered", models.PositiveIntegerField(blank=True, null=True)),
                ("ran_on", models.DateField()),
                ("ran_by", models.CharField(max_length=120)),
                ("note", models.CharField(blank=True, max_length=300)),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("standing", "standing"),
                            ("superseded", "superseded"),
                            ("withdrawn", "withdrawn"),
                        ],
                        default="standing",
                        max_length=10,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=300)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "created_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "ended_by",
                    models.ForeignKey(
                        blank=True,
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
                    "organism",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="monitoring.organism",
                    ),
                ),
                (
                    "supersedes",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="monitoring.calibrationrun",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        fields=["farm_group", "organism", "tissue", "ran_on"],
                        name="monitoring_calibrationrun_of",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("added", None),
                                ("catches__len__gte", 2),
                                ("kind", "repeat_washes"),
                                ("recovered", None),
                            ),
                            models.Q(
                                ("added__gte", 1),
                                ("catches__len", 0),
                                ("kind", "spikes"),
                                ("recovered__lte", models.F("added")),
                            ),
                            _connector="OR",
                        ),
                        name="monitoring_calibrationrun_kind_and_counts",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("ended_at", None),
                                ("ended_by", None),
                                ("reason", ""),
                                ("state", "standing"),
                            ),
                            models.Q(
                                ("state__in", ["superseded", "withdrawn"]),
                                models.Q(("reason", ""), _negated=True),
                                ("ended_at__isnull", False),
                                ("ended_by__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="monitoring_calibrationrun_ended_with_reason",
                    ),
                    models.UniqueConstraint(
                        fields=("supersedes",),
                        name="monitoring_calibrationrun_superseded_once",
                    ),
                ],
            },
        ),
        GuardRows("CalibrationRun"),
        KeepWithinGroup("CalibrationRun", "organism"),
        KeepWithinGroup("CalibrationRun", "supersedes"),
        migrations.RunSQL(KEEP, "DROP FUNCTION monitoring_keep_calibration()"),
        migrations.RunSQL(
            GUARD, "DROP TRIGGER only_ended ON monitoring_calibrationrun"
        ),
    ]

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup


# What was asked for on a day can always be found again.
KEEP = """
CREATE FUNCTION monitoring_keep_protocol() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'A wash protocol is never changed, only followed by another.'
        USING ERRCODE = 'restrict_violation';
END $$
"""
GUARD = (
    "CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON monitoring_washprotocol"
    " FOR EACH ROW EXECUTE FUNCTION monitoring_keep_protocol()"
)
UNGUARD = "DROP TRIGGER never_changed ON monitoring_washprotocol"


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0013_compute_with_averaged_model"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="WashBatch",
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
                ("number", models.PositiveSmallIntegerField(default=1)),
                ("washed_on", models.DateField()),
                ("washed_at", models.DateTimeField(blank=True, null=True)),
                ("alcohol_percent", models.FloatField()),
                ("volume_ml", models.FloatField()),
                ("shake_s", models.FloatField()),
                ("piece_cm", models.FloatField(blank=True, null=True)),
                ("rinses", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("analyst_name", models.CharField(max_length=120)),
                ("note", models.TextField(blank=True)),
                ("departures", models.JSONField(blank=True, default=list)),
                ("bags", models.JSONField(default=list)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("stands", "stands"),
                            ("superseded", "corrected"),
                            ("withdrawn", "withdrawn"),
                        ],
                        default="stands",
                        max_length=10,
                    ),
                ),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("ended_why", models.CharField(blank=True, max_length=300)),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
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
                    "ended_by",
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
                (
                    "round",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="wash_batches",
                        to="monitoring.round",
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="monitoring.washbatch",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "wash batches",
            },
        ),
        migrations.AddField(
            model_name="wash",
            name="batch",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="washes",
                to="monitoring.washbatch",
            ),
        ),
        migrations.CreateModel(
            name="WashProtocol",
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
                ("alcohol_low_percent", models.FloatField(default=35.0)),
                ("alcohol_high_percent", models.FloatField(default=35.0)),
                ("volume_low_ml", models.FloatField(default=45.0)),
                ("volume_high_ml", models.FloatField(default=50.0)),
                ("shake_low_s", models.FloatField(default=30.0)),
                ("shake_high_s", models.FloatField(default=30.0)),
                ("piece_low_cm", models.FloatField(default=2.0)),
                ("piece_high_cm", models.FloatField(default=3.0)),
                ("rinses", models.PositiveSmallIntegerField(blank=True, null=True)),
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
        ),
        migrations.AddField(
            model_name="washbatch",
            name="protocol",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="monitoring.washprotocol",
            ),
        ),
        migrations.AddIndex(
            model_name="washprotocol",
            index=models.Index(
                fields=["farm_group", "valid_from"], name="monitoring_protocol_in_force"
            ),
        ),
        migrations.AddConstraint(
            model_name="washprotocol",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("alcohol_high_percent__gte", models.F("alcohol_low_percent")),
                    ("alcohol_high_percent__lte", 100),
                    ("alcohol_low_percent__gt", 0),
                ),
                name="monitoring_washprotocol_alcohol_in_order",
            ),
        ),
        migrations.AddConstraint(
            model_name="washprotocol",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("piece_high_cm__gte", models.F("piece_low_cm")),
                    ("piece_low_cm__gt", 0),
                    ("shake_high_s__gte", models.F("shake_low_s")),
                    ("shake_low_s__gte", 0),
                    ("volume_high_ml__gte", models.F("volume_low_ml")),
                    ("volume_low_ml__gt", 0),
                ),
                name="monitoring_washprotocol_rest_in_order",
            ),
        ),
        migrations.AddConstraint(
            model_name="washbatch",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("alcohol_percent__gte", 0),
                    ("alcohol_percent__lte", 100),
                    ("number__gte", 1),
                    ("shake_s__gte", 0),
                    ("volume_ml__gt", 0),
                    models.Q(("piece_cm", None), ("piece_cm__gt", 0), _connector="OR"),
                ),
                name="monitoring_washbatch_values_possible",
            ),
        ),
        migrations.AddConstraint(
            model_name="washbatch",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("ended_at", None), ("ended_why", ""), ("state", "stands")
                    ),
                    models.Q(
                        ("ended_at__isnull", False),
                        ("state__in", ["superseded", "withdrawn"]),
                        models.Q(("ended_why", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="monitoring_washbatch_ended_with_reason",
            ),
        ),
        GuardRows("WashProtocol"),
        GuardRows("WashBatch"),
        KeepWithinGroup("WashBatch", "round"),
        KeepWithinGroup("WashBatch", "protocol"),
        KeepWithinGroup("WashBatch", "supersedes"),
        KeepWithinGroup("Wash", "batch"),
        migrations.RunSQL(KEEP, "DROP FUNCTION monitoring_keep_protocol()"),
        migrations.RunSQL(GUARD, UNGUARD),
    ]

import uuid

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

# What was held on a day can always be found again.
KEEP = """
CREATE FUNCTION monitoring_keep_clumping() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'What was learned of clumping is never changed, only followed.'
        USING ERRCODE = 'restrict_violation';
END $$
"""
GUARD = (
    "CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON monitoring_clumpingprior"
    " FOR EACH ROW EXECUTE FUNCTION monitoring_keep_clumping()"
)
UNGUARD = "DROP TRIGGER never_changed ON monitoring_clumpingprior"


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0011_sheets_of_blank_washes"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ClumpingPrior",
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
                ("units", models.PositiveIntegerField(default=1)),
                ("k_median", models.FloatField(blank=True, null=True)),
                ("k_sd_log", models.FloatField(blank=True, null=True)),
                ("sigma_median", models.FloatField(blank=True, null=True)),
                ("sigma_sd_log", models.FloatField(blank=True, null=True)),
                ("lognormal_odds", models.FloatField(blank=True, null=True)),
                ("rounds", models.PositiveIntegerField(default=0)),
                ("bags", models.PositiveIntegerField(default=0)),
                ("basis", models.JSONField(blank=True, default=list)),
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
            ],
            options={
                "indexes": [
                    models.Index(
                        fields=["farm_group", "organism", "tissue", "valid_from"],
                        name="monitoring_clumping_in_force",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("k_median__gt", 0),
                                ("k_sd_log__gt", 0),
                                ("lognormal_odds__gt", 0),
                                ("rounds__gt", 0),
                                ("sigma_median__gt", 0),
                                ("sigma_sd_log__gt", 0),
                            ),
                            models.Q(
                                ("k_median", None),
                                ("k_sd_log", None),
                                ("lognormal_odds", None),
                                ("rounds", 0),
                                ("sigma_median", None),
                                ("sigma_sd_log", None),
                            ),
                            _connector="OR",
                        ),
                        name="monitoring_clumping_prior_all_or_none",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("units__gte", 1)),
                        name="monitoring_clumping_prior_units",
                    ),
                ],
            },
        ),
        GuardRows("ClumpingPrior"),
        KeepWithinGroup("ClumpingPrior", "organism"),
        migrations.RunSQL(KEEP, "DROP FUNCTION monitoring_keep_clumping()"),
        migrations.RunSQL(GUARD, UNGUARD),
    ]

"""Record treatments; nobody changes or deletes what was recorded."""

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

WALLS = [
    GuardRows("Treatment"),
    GuardRows("TreatedBlock"),
    KeepWithinGroup("Treatment", "supersedes"),
    KeepWithinGroup("TreatedBlock", "treatment"),
    KeepWithinGroup("TreatedBlock", "block"),
]
TABLES = ("monitoring_treatment", "monitoring_treatedblock")
REFUSE = """
CREATE FUNCTION monitoring_treatments_refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'Rows of % are only added to.', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$
"""


def _guard(table: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER only_added_to BEFORE UPDATE OR DELETE ON {table}"
        " FOR EACH ROW EXECUTE FUNCTION monitoring_treatments_refuse_change()",
        f"DROP TRIGGER only_added_to ON {table}",
    )


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0003_newest_densities"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Treatment",
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
                ("treated_on", models.DateField()),
                (
                    "category",
                    models.CharField(
                        choices=[
                            ("sulfur", "sulfur"),
                            ("oil", "oil"),
                            ("acaricide", "acaricide"),
                            ("insecticide", "insecticide"),
                            ("fungicide", "fungicide"),
                            ("biological", "biological"),
                            ("other", "other"),
                        ],
                        max_length=12,
                    ),
                ),
                ("active_ingredient", models.CharField(blank=True, max_length=120)),
                ("rate", models.FloatField(blank=True, null=True)),
                (
                    "rate_unit",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("kg/ha", "kg per ha"),
                            ("g/ha", "g per ha"),
                            ("L/ha", "L per ha"),
                            ("mL/ha", "mL per ha"),
                            ("percent", "percent of the spray"),
                            ("g/hL", "g per 100 L of spray"),
                            ("mL/hL", "mL per 100 L of spray"),
                            ("lb/acre", "lb per acre"),
                            ("oz/acre", "oz per acre"),
                            ("fl oz/acre", "US fl oz per acre"),
                            ("pt/acre", "US pints per acre"),
                            ("qt/acre", "US quarts per acre"),
                            ("gal/acre", "US gallons per acre"),
                            ("animals/ha", "animals per ha"),
                            ("animals/vine", "animals per vine"),
                        ],
                        max_length=12,
                    ),
                ),
                ("operator", models.CharField(blank=True, max_length=120)),
                ("note", models.TextField(blank=True)),
                (
                    "recorded_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=300)),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "farm_group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="blocks.farmgroup",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="correction",
                        to="monitoring.treatment",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="TreatedBlock",
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
                    "part",
                    models.CharField(
                        choices=[
                            ("treated", "treated"),
                            ("check", "left untreated as a check"),
                        ],
                        default="treated",
                        max_length=7,
                    ),
                ),
                (
                    "block",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="blocks.block",
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
                    "treatment",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="parts",
                        to="monitoring.treatment",
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(
                fields=["farm_group", "treated_on"], name="monitoring_treatment_by_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "category__in",
                        [
                            "sulfur",
                            "oil",
                            "acaricide",
                            "insecticide",
                            "fungicide",
                            "biological",
                            "other",
                        ],
                    )
                ),
                name="monitoring_treatment_category_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("rate", None), ("rate_unit", "")),
                    models.Q(
                        ("rate__gt", 0), models.Q(("rate_unit", ""), _negated=True)
                    ),
                    _connector="OR",
                ),
                name="monitoring_treatment_rate_has_unit",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("reason", ""), ("supersedes", None), ("withdrawn", False)
                    ),
                    models.Q(
                        ("supersedes__isnull", False),
                        models.Q(("reason", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="monitoring_treatment_correction_has_reason",
            ),
        ),
        migrations.AddIndex(
            model_name="treatedblock",
            index=models.Index(
                fields=["farm_group", "block"], name="monitoring_treatedblock_block"
            ),
        ),
        migrations.AddConstraint(
            model_name="treatedblock",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "treatment", "block"),
                name="monitoring_treatedblock_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatedblock",
            constraint=models.CheckConstraint(
                condition=models.Q(("part__in", ["treated", "check"])),
                name="monitoring_treatedblock_part_known",
            ),
        ),
        *WALLS,
        migrations.RunSQL(
            REFUSE, "DROP FUNCTION monitoring_treatments_refuse_change()"
        ),
        *(_guard(table) for table in TABLES),
    ]

"""Give bags label codes, the steps of their way, and a farm group its settings."""

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

REFUSE = """
CREATE FUNCTION monitoring_bag_steps_refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'The steps of a bag are only added to.'
        USING ERRCODE = 'restrict_violation';
END $$
"""
GUARD = (
    "CREATE TRIGGER only_added_to BEFORE UPDATE OR DELETE ON monitoring_bagstep"
    " FOR EACH ROW EXECUTE FUNCTION monitoring_bag_steps_refuse_change()"
)
WALLS = [
    GuardRows("BagStep"),
    GuardRows("BagSetting"),
    KeepWithinGroup("BagStep", "bag"),
    migrations.RunSQL(REFUSE, "DROP FUNCTION monitoring_bag_steps_refuse_change()"),
    migrations.RunSQL(GUARD, "DROP TRIGGER only_added_to ON monitoring_bagstep"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0015_planned_rounds"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="BagSetting",
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
                    "paper",
                    models.CharField(
                        choices=[
                            ("a4-21", "A4, 3 by 7 labels of 63.5 by 38.1 mm"),
                            ("a4-24", "A4, 3 by 8 labels of 70 by 37 mm"),
                            ("a4-65", "A4, 5 by 13 labels of 38.1 by 21.2 mm"),
                            ("letter-30", "Letter, 3 by 10 labels of 2 5/8 by 1 inch"),
                            ("letter-10", "Letter, 2 by 5 labels of 4 by 2 inches"),
                            ("roll", "roll, one label after the other"),
                        ],
                        default="a4-21",
                        max_length=12,
                    ),
                ),
                ("roll_width_mm", models.FloatField(default=57.0)),
                ("roll_height_mm", models.FloatField(default=32.0)),
                ("wash_within_days", models.PositiveSmallIntegerField(default=3)),
                ("count_within_days", models.PositiveSmallIntegerField(default=7)),
            ],
        ),
        migrations.CreateModel(
            name="BagStep",
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
                    "before",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("planned", "planned"),
                            ("collected", "collected"),
                            ("received", "received"),
                            ("washed", "washed"),
                            ("counted", "counted"),
                            ("reported", "reported"),
                            ("lost", "lost"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "way",
                    models.CharField(
                        choices=[
                            ("planned", "planned"),
                            ("collected", "collected"),
                            ("received", "received"),
                            ("washed", "washed"),
                            ("counted", "counted"),
                            ("reported", "reported"),
                            ("lost", "lost"),
                        ],
                        max_length=10,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=300)),
                (
                    "noted_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.AddField(
            model_name="bag",
            name="label",
            field=models.CharField(blank=True, db_default="", default="", max_length=7),
        ),
        migrations.AddIndex(
            model_name="bag",
            index=models.Index(
                condition=models.Q(
                    ("way__in", ["planned", "collected", "received", "washed"])
                ),
                fields=["farm_group", "way"],
                name="monitoring_bag_under_way",
            ),
        ),
        migrations.AddConstraint(
            model_name="bag",
            constraint=models.UniqueConstraint(
                condition=models.Q(("label", ""), _negated=True),
                fields=("farm_group", "label"),
                name="monitoring_bag_label_in_group",
            ),
        ),
        migrations.AddConstraint(
            model_name="bag",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("label", ""),
                    ("label__regex", "^[234567CFHJKMRWXY]{7}$"),
                    _connector="OR",
                ),
                name="monitoring_bag_label_readable",
            ),
        ),
        migrations.AddField(
            model_name="bagsetting",
            name="farm_group",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT, to="blocks.farmgroup"
            ),
        ),
        migrations.AddField(
            model_name="bagstep",
            name="bag",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="steps",
                to="monitoring.bag",
            ),
        ),
        migrations.AddField(
            model_name="bagstep",
            name="farm_group",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                to="blocks.farmgroup",
            ),
        ),
        migrations.AddField(
            model_name="bagstep",
            name="noted_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddConstraint(
            model_name="bagsetting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("roll_width_mm__gte", 30),
                    ("roll_width_mm__lte", 110),
                    ("roll_height_mm__gte", 20),
                    ("roll_height_mm__lte", 110),
                ),
                name="monitoring_bagsetting_roll_fits_bag",
            ),
        ),
        migrations.AddConstraint(
            model_name="bagsetting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("count_within_days__gte", 1), ("wash_within_days__gte", 1)
                ),
                name="monitoring_bagsetting_days_from_one",
            ),
        ),
        migrations.AddIndex(
            model_name="bagstep",
            index=models.Index(
                fields=["farm_group", "bag"], name="monitoring_bagstep_of_bag"
            ),
        ),
        migrations.AddConstraint(
            model_name="bagstep",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "way__in",
                        [
                            "planned",
                            "collected",
                            "received",
                            "washed",
                            "counted",
                            "reported",
                            "lost",
                        ],
                    )
                ),
                name="monitoring_bagstep_way_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="bagstep",
            constraint=models.CheckConstraint(
                condition=models.Q(("before", models.F("way")), _negated=True),
                name="monitoring_bagstep_goes_somewhere",
            ),
        ),
        *WALLS,
    ]

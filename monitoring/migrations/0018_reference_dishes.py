"""Keep drawn reference dishes, what lies in them, and what was counted."""

import django.contrib.postgres.fields
import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

REFUSE = """
CREATE FUNCTION monitoring_training_refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'What was counted for practice is only added to.'
        USING ERRCODE = 'restrict_violation';
END $$
"""
REFUSE_BUT_WITHDRAWAL = """
CREATE FUNCTION monitoring_reference_dishes_refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' AND OLD.withdrawn_at IS NULL
        AND to_jsonb(NEW) - ARRAY['withdrawn_at', 'withdrawn_by_id', 'withdrawn_why']
          = to_jsonb(OLD) - ARRAY['withdrawn_at', 'withdrawn_by_id', 'withdrawn_why']
    THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'A reference dish is never changed, only withdrawn.'
        USING ERRCODE = 'restrict_violation';
END $$
"""
ONLY_ADDED_TO = (
    "monitoring_referencecontent",
    "monitoring_referencereading",
    "monitoring_referencecount",
    "monitoring_seniorcounter",
)


def _guard(table: str, function: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER only_added_to BEFORE UPDATE OR DELETE ON {table}"
        f" FOR EACH ROW EXECUTE FUNCTION {function}()",
        f"DROP TRIGGER only_added_to ON {table}",
    )


WALLS = [
    *(
        GuardRows(model)
        for model in (
            "ReferenceDish",
            "ReferenceContent",
            "ReferenceReading",
            "ReferenceCount",
            "SeniorCounter",
        )
    ),
    KeepWithinGroup("ReferenceDish", "dish"),
    KeepWithinGroup("ReferenceContent", "reference"),
    KeepWithinGroup("ReferenceContent", "organism"),
    KeepWithinGroup("ReferenceReading", "reference"),
    KeepWithinGroup("ReferenceCount", "reading"),
    KeepWithinGroup("ReferenceCount", "organism"),
    migrations.RunSQL(REFUSE, "DROP FUNCTION monitoring_training_refuse_change()"),
    migrations.RunSQL(
        REFUSE_BUT_WITHDRAWAL,
        "DROP FUNCTION monitoring_reference_dishes_refuse_change()",
    ),
    *(_guard(table, "monitoring_training_refuse_change") for table in ONLY_ADDED_TO),
    _guard("monitoring_referencedish", "monitoring_reference_dishes_refuse_change"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0017_bench"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ReferenceDish",
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
                ("magnification", models.FloatField()),
                ("seed", models.BigIntegerField()),
                (
                    "clumping",
                    models.CharField(
                        choices=[
                            ("none", "anywhere alike"),
                            ("some", "half of them in clumps"),
                            ("strong", "all in clumps"),
                        ],
                        max_length=8,
                    ),
                ),
                (
                    "debris",
                    models.CharField(
                        choices=[
                            ("none", "none"),
                            ("little", "little"),
                            ("usual", "as usual"),
                            ("much", "much"),
                        ],
                        max_length=8,
                    ),
                ),
                (
                    "cells",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=6),
                        blank=True,
                        default=list,
                        size=None,
                    ),
                ),
                (
                    "made_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_why", models.CharField(blank=True, max_length=300)),
                (
                    "dish",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
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
                (
                    "made_by",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
            options={
                "verbose_name_plural": "reference dishes",
            },
        ),
        migrations.CreateModel(
            name="ReferenceContent",
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
                    "look",
                    models.CharField(
                        choices=[
                            ("wedge", "wedge with two pairs of legs, 0.2 mm"),
                            ("pear", "pear with four pairs of legs, 0.4 mm"),
                            ("round", "round body with two spots, 0.5 mm"),
                            ("long", "long ringed body, 1 mm"),
                        ],
                        max_length=8,
                    ),
                ),
                ("asked", models.PositiveIntegerField()),
                ("number", models.PositiveIntegerField()),
                ("number_to_find", models.PositiveIntegerField()),
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
                    "reference",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="contents",
                        to="monitoring.referencedish",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ReferenceReading",
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
                ("magnification", models.FloatField()),
                (
                    "counted_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
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
                    "reader",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reference",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="monitoring.referencedish",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ReferenceCount",
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
                ("count", models.PositiveIntegerField()),
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
                    "reading",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counts",
                        to="monitoring.referencereading",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SeniorCounter",
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
                    "chosen_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                (
                    "chosen_by",
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
                    "person",
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
        migrations.AddIndex(
            model_name="referencedish",
            index=models.Index(
                fields=["farm_group", "-made_at"], name="monitoring_referencedish_new"
            ),
        ),
        migrations.AddConstraint(
            model_name="referencedish",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("magnification__gte", 6), ("magnification__lte", 100)
                ),
                name="monitoring_referencedish_magnification_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencedish",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("clumping__in", ["none", "some", "strong"]),
                    ("debris__in", ["none", "little", "usual", "much"]),
                ),
                name="monitoring_referencedish_words_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencedish",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("withdrawn_at", None), ("withdrawn_why", "")),
                    models.Q(
                        ("withdrawn_at__isnull", False),
                        models.Q(("withdrawn_why", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="monitoring_referencedish_withdrawn_with_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencecontent",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "reference", "organism"),
                name="monitoring_referencecontent_organism_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencecontent",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "reference", "look"),
                name="monitoring_referencecontent_look_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencecontent",
            constraint=models.CheckConstraint(
                condition=models.Q(("look__in", ["wedge", "pear", "round", "long"])),
                name="monitoring_referencecontent_look_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencecontent",
            constraint=models.CheckConstraint(
                condition=models.Q(("number_to_find__lte", models.F("number"))),
                name="monitoring_referencecontent_part_of_all",
            ),
        ),
        migrations.AddIndex(
            model_name="referencereading",
            index=models.Index(
                fields=["farm_group", "reader"], name="monitoring_refreading_of"
            ),
        ),
        migrations.AddConstraint(
            model_name="referencereading",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "reference", "reader"),
                name="monitoring_referencereading_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencecount",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "reading", "organism"),
                name="monitoring_referencecount_once",
            ),
        ),
        migrations.AddIndex(
            model_name="seniorcounter",
            index=models.Index(
                fields=["farm_group", "-chosen_at"], name="monitoring_seniorcounter_new"
            ),
        ),
        *WALLS,
    ]

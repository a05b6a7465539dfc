"""Keep blank washes, and the agreement between counters that a lab asks for."""

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup

WALLS = [
    GuardRows("BlankWash"),
    GuardRows("BlankCount"),
    GuardRows("AgreementStandard"),
    KeepWithinGroup("BlankWash", "after"),
    KeepWithinGroup("BlankWash", "dish"),
    KeepWithinGroup("BlankWash", "source_sheet"),
    KeepWithinGroup("BlankCount", "blank"),
    KeepWithinGroup("BlankCount", "organism"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0004_treatments"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="AgreementStandard",
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
                ("least_concordance", models.FloatField()),
                ("widest_ratio", models.FloatField()),
                ("note", models.CharField(blank=True, max_length=300)),
                ("valid_from", models.DateField()),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BlankCount",
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
                    "scope",
                    models.CharField(
                        choices=[
                            ("whole", "whole dish"),
                            ("random_cells", "a number of random cells"),
                            ("named_cells", "named cells"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "cells_counted",
                    models.PositiveSmallIntegerField(blank=True, null=True),
                ),
                ("proportion_counted", models.FloatField(default=1.0)),
                ("count", models.PositiveIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name="BlankWash",
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
                ("code", models.CharField(max_length=40)),
                ("washed_on", models.DateField()),
                ("analyst_name", models.CharField(blank=True, max_length=120)),
                ("note", models.TextField(blank=True)),
                ("source_row", models.PositiveIntegerField()),
                (
                    "created_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_why", models.CharField(blank=True, max_length=300)),
            ],
            options={
                "verbose_name_plural": "blank washes",
            },
        ),
        migrations.AddIndex(
            model_name="tally",
            index=models.Index(
                condition=models.Q(("reading__gt", 1), ("state", "published")),
                fields=["farm_group", "organism", "id"],
                name="monitoring_tally_recounts",
            ),
        ),
        migrations.AddField(
            model_name="agreementstandard",
            name="created_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="agreementstandard",
            name="farm_group",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                to="blocks.farmgroup",
            ),
        ),
        migrations.AddField(
            model_name="blankcount",
            name="farm_group",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                to="blocks.farmgroup",
            ),
        ),
        migrations.AddField(
            model_name="blankcount",
            name="organism",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="monitoring.organism",
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="after",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="blanks_after",
                to="monitoring.wash",
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="analyst",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="created_by",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="dish",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="monitoring.dish",
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="farm_group",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                to="blocks.farmgroup",
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="source_sheet",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="blanks",
                to="monitoring.sheet",
            ),
        ),
        migrations.AddField(
            model_name="blankwash",
            name="withdrawn_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="blankcount",
            name="blank",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="counts",
                to="monitoring.blankwash",
            ),
        ),
        migrations.AddIndex(
            model_name="agreementstandard",
            index=models.Index(
                fields=["farm_group", "valid_from"], name="monitoring_standard_in_force"
            ),
        ),
        migrations.AddConstraint(
            model_name="agreementstandard",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("least_concordance__gt", 0), ("least_concordance__lt", 1)
                ),
                name="monitoring_agreementstandard_is_coefficient",
            ),
        ),
        migrations.AddConstraint(
            model_name="agreementstandard",
            constraint=models.CheckConstraint(
                condition=models.Q(("widest_ratio__gt", 1), ("widest_ratio__lte", 100)),
                name="monitoring_agreementstandard_is_ratio",
            ),
        ),
        migrations.AddConstraint(
            model_name="blankwash",
            constraint=models.UniqueConstraint(
                condition=models.Q(("withdrawn_at", None)),
                fields=("farm_group", "washed_on", "code"),
                name="monitoring_blankwash_code_on_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="blankwash",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("withdrawn_at", None), ("withdrawn_why", "")),
                    models.Q(
                        ("withdrawn_at__isnull", False),
                        models.Q(("withdrawn_why", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="monitoring_blankwash_withdrawn_with_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="blankcount",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "blank", "organism"),
                name="monitoring_blankcount_once_in_blank",
            ),
        ),
        migrations.AddConstraint(
            model_name="blankcount",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("cells_counted", None),
                        ("proportion_counted", 1.0),
                        ("scope", "whole"),
                    ),
                    models.Q(
                        ("cells_counted__gte", 1),
                        ("proportion_counted__gt", 0),
                        ("proportion_counted__lte", 1),
                        ("scope__in", ["random_cells", "named_cells"]),
                    ),
                    _connector="OR",
                ),
                name="monitoring_blankcount_scope_and_cells_agree",
            ),
        ),
        *WALLS,
    ]

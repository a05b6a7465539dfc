"""Keep what came of acts beside readings, and photographs that were removed."""

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from blocks.walls import GuardRows, KeepWithinGroup


class Migration(migrations.Migration):
    dependencies = [
        ("blocks", "0002_boundary_imports"),
        ("monitoring", "0018_reference_dishes"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="BenchAct",
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
                ("bag_uuid", models.UUIDField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("done", "done"),
                            ("unchanged", "changed nothing"),
                            ("waiting", "waits for a person"),
                            ("settled", "settled by a person"),
                        ],
                        max_length=10,
                    ),
                ),
                ("why", models.CharField(blank=True, max_length=600)),
                ("place_before", models.JSONField(blank=True, null=True)),
                ("moved_place", models.BooleanField(default=False)),
                (
                    "done_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, editable=False
                    ),
                ),
                ("settled_at", models.DateTimeField(blank=True, null=True)),
                ("settled_why", models.CharField(blank=True, max_length=300)),
            ],
        ),
        migrations.AddField(
            model_name="bag",
            name="point_accuracy_m",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="bagphoto",
            name="removed_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="bagphoto",
            name="removed_by",
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
            model_name="bagphoto",
            name="removed_why",
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AddField(
            model_name="benchdevice",
            name="acts_to",
            field=models.PositiveBigIntegerField(db_default=0, default=0),
        ),
        migrations.AlterField(
            model_name="bagphoto",
            name="stored_name",
            field=models.CharField(blank=True, max_length=100),
        ),
        migrations.AddIndex(
            model_name="benchevent",
            index=models.Index(
                condition=models.Q(("kind", "photo")),
                fields=["farm_group", "device"],
                name="monitoring_benchevent_photo",
            ),
        ),
        migrations.AddConstraint(
            model_name="bagphoto",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("removed_at", None),
                        ("removed_why", ""),
                        models.Q(("stored_name", ""), _negated=True),
                    ),
                    models.Q(
                        ("removed_at__isnull", False),
                        ("stored_name", ""),
                        models.Q(("removed_why", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="monitoring_bagphoto_removed_with_reason",
            ),
        ),
        migrations.AddField(
            model_name="benchact",
            name="bag",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="acts",
                to="monitoring.bag",
            ),
        ),
        migrations.AddField(
            model_name="benchact",
            name="event",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="acts",
                to="monitoring.benchevent",
            ),
        ),
        migrations.AddField(
            model_name="benchact",
            name="farm_group",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                to="blocks.farmgroup",
            ),
        ),
        migrations.AddField(
            model_name="benchact",
            name="settled_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddIndex(
            model_name="benchact",
            index=models.Index(
                fields=["farm_group", "bag"], name="monitoring_benchact_of_bag"
            ),
        ),
        migrations.AddIndex(
            model_name="benchact",
            index=models.Index(
                condition=models.Q(("state", "waiting")),
                fields=["farm_group", "event"],
                name="monitoring_benchact_to_do",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchact",
            constraint=models.UniqueConstraint(
                fields=("farm_group", "event", "bag_uuid"),
                name="monitoring_benchact_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("settled_at__isnull", False),
                        ("state", "settled"),
                        models.Q(("settled_why", ""), _negated=True),
                    ),
                    models.Q(
                        ("settled_at", None),
                        ("state__in", ["done", "unchanged", "waiting"]),
                    ),
                    _connector="OR",
                ),
                name="monitoring_benchact_settled_with_reason",
            ),
        ),
        GuardRows("BenchAct"),
        KeepWithinGroup("BenchAct", "event"),
        KeepWithinGroup("BenchAct", "bag"),
    ]

"""Find a farm group's newest density at once: open pages ask for it all the time."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("monitoring", "0002_dishes_of_a_wash"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="density",
            index=models.Index(
                fields=["farm_group", "id"], name="monitoring_density_newest"
            ),
        ),
    ]

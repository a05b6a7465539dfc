"""Let a sheet hold blank washes."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("monitoring", "0010_symptoms_leave_bags"),
    ]

    operations = [
        migrations.AlterField(
            model_name="sheet",
            name="layout",
            field=models.CharField(
                blank=True,
                choices=[
                    ("bags", "one row a bag"),
                    ("cells", "one row a cell"),
                    ("blanks", "one row a blank wash"),
                ],
                max_length=6,
            ),
        ),
    ]

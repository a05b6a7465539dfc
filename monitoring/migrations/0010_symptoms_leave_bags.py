"""Take the score off the bag: it has rows of its own now."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("monitoring", "0009_move_symptom_scores")]

    operations = [migrations.RemoveField(model_name="bag", name="symptom_score")]

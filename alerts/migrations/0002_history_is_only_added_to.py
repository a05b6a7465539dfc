"""Let nobody change or delete what an alert's history says."""

from django.db import migrations

TABLES = ("alerts_transition", "alerts_thresholdversion")
REFUSE = """
CREATE FUNCTION alerts_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'Rows of % are only added to.', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$
"""


def _guard(table: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER only_added_to BEFORE UPDATE OR DELETE ON {table}"
        " FOR EACH ROW EXECUTE FUNCTION alerts_refuse_change()",
        f"DROP TRIGGER only_added_to ON {table}",
    )


class Migration(migrations.Migration):
    dependencies = [("alerts", "0001_thresholds_alerts_messages")]

    operations = [
        migrations.RunSQL(REFUSE, "DROP FUNCTION alerts_refuse_change()"),
        *(_guard(table) for table in TABLES),
    ]

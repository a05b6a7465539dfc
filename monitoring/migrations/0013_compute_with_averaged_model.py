"""Let every stored density be computed again: the site's method is another one."""

from django.db import migrations

# Row-level security holds for the owner too, so each farm group is stated in turn.
ALL_DUE = """
DO $$
DECLARE one bigint;
BEGIN
    FOR one IN SELECT washboard_farm_group_ids() LOOP
        PERFORM set_config('washboard.farm_group', one::text, true);
        INSERT INTO monitoring_roundchange (farm_group_id, round_id, noted_at)
        SELECT one, id, now() FROM monitoring_round r
        WHERE farm_group_id = one AND EXISTS (SELECT FROM monitoring_density
            WHERE farm_group_id = one AND round_id = r.id);
    END LOOP;
    PERFORM set_config('washboard.farm_group', '', true);
END $$
"""


class Migration(migrations.Migration):
    dependencies = [("monitoring", "0012_clumping_priors")]

    operations = [migrations.RunSQL(ALL_DUE, migrations.RunSQL.noop)]

"""Move the scores of bags to rows of their own, from the sheet that brought the bag."""

from django.db import migrations

# Row-level security holds for the owner too, so each farm group is stated in turn.
MOVE = """
DO $$
DECLARE one bigint;
BEGIN
    FOR one IN SELECT washboard_farm_group_ids() LOOP
        PERFORM set_config('washboard.farm_group', one::text, true);
        INSERT INTO monitoring_symptomscale (farm_group_id, lowest, highest,
            level_names, wording, valid_from)
        SELECT one, 0, 4, '{}', '', DATE '1900-01-01'
        WHERE NOT EXISTS (SELECT FROM monitoring_symptomscale
            WHERE farm_group_id = one)
            AND EXISTS (SELECT FROM monitoring_bag
                WHERE farm_group_id = one AND symptom_score IS NOT NULL);
        INSERT INTO monitoring_symptomscore (uuid, farm_group_id, bag_id, scale_id,
            score, state, reason, source_sheet_id, source_row, scorer_name, created_at,
            created_by_id)
        SELECT gen_random_uuid(), one, b.id, s.id, b.symptom_score, 'published', '',
            t.source_sheet_id, t.source_row, '', b.created_at, t.created_by_id
        FROM monitoring_bag b
        CROSS JOIN LATERAL (
            SELECT id FROM monitoring_symptomscale WHERE farm_group_id = one
            ORDER BY valid_from <= b.created_at::date DESC,
                CASE WHEN valid_from <= b.created_at::date THEN valid_from END DESC,
                valid_from
            LIMIT 1
        ) s
        LEFT JOIN LATERAL (
            SELECT y.source_sheet_id, y.source_row, y.created_by_id
            FROM monitoring_wash w JOIN monitoring_tally y ON y.farm_group_id = one
                AND y.wash_id = w.id
            WHERE w.farm_group_id = one AND w.bag_id = b.id ORDER BY y.id LIMIT 1
        ) t ON true
        WHERE b.farm_group_id = one AND b.symptom_score IS NOT NULL;
    END LOOP;
    PERFORM set_config('washboard.farm_group', '', true);
END $$
"""
BACK = """
DO $$
DECLARE one bigint;
BEGIN
    FOR one IN SELECT washboard_farm_group_ids() LOOP
        PERFORM set_config('washboard.farm_group', one::text, true);
        UPDATE monitoring_bag b SET symptom_score = s.score
        FROM monitoring_symptomscore s
        WHERE b.farm_group_id = one AND s.farm_group_id = one AND s.bag_id = b.id
            AND s.state = 'published';
        DELETE FROM monitoring_symptomscore WHERE farm_group_id = one;
    END LOOP;
    PERFORM set_config('washboard.farm_group', '', true);
END $$
"""


class Migration(migrations.Migration):
    dependencies = [("monitoring", "0008_calibration_runs")]

    operations = [migrations.RunSQL(MOVE, BACK)]

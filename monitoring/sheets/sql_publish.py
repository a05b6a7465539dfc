"""Write what a sheet says, from its staged tables, in the order of its references.

`%(group)s` is the farm group, `%(sheet)s` the sheet, `%(person)s` who publishes,
`%(correct)s` whether changed tallies are corrections (else recounts), `%(reason)s` why;
`%(rescore)s` whether changed symptom scores stand, `%(scale)s` the scale in force.
"""

from typing import Final

from monitoring.sheets import sql_blanks, sql_scores

ROUNDS: Final = """
INSERT INTO monitoring_round (id, uuid, farm_group_id, block_id, collected_on,
    growth_scale, growth_code, created_at)
SELECT id, gen_random_uuid(), %(group)s, block_id, collected_on,
    coalesce(split_part(stage, ' ', 1), ''), coalesce(split_part(stage, ' ', 2), ''),
    now()
FROM staged_round WHERE old_id IS NULL
"""
STAGES: Final = """
UPDATE monitoring_round r
SET growth_scale = split_part(s.stage, ' ', 1),
    growth_code = split_part(s.stage, ' ', 2)
FROM staged_round s
WHERE r.farm_group_id = %(group)s AND r.id = s.old_id AND s.stage IS NOT NULL
    AND s.old_stage IS DISTINCT FROM s.stage
"""
BAGS: Final = """
INSERT INTO monitoring_bag (id, uuid, farm_group_id, round_id, code, tissue, position,
    units, way, note, created_at)
SELECT b.id, gen_random_uuid(), %(group)s, b.round_id, b.code, b.tissue, b.position,
    b.units,
    CASE WHEN c.bag_id IS NULL THEN 'collected' ELSE 'counted' END, b.note, now()
FROM staged_bag b
LEFT JOIN (SELECT DISTINCT w.bag_id FROM staged_wash w
    JOIN staged_match m ON m.wash_id = w.id) c ON c.bag_id = b.id
WHERE b.old_id IS NULL
"""
# What was not known of a bag or a wash yet is filled in; what was stated stays.
OLD_BAGS: Final = """
UPDATE monitoring_bag b
SET note = s.note
FROM staged_bag s
WHERE b.farm_group_id = %(group)s AND b.id = s.old_id AND b.note = '' AND s.note <> ''
"""
WASHES: Final = """
INSERT INTO monitoring_wash (id, uuid, farm_group_id, bag_id, number, washed_on,
    alcohol_percent, volume_ml, shake_s, dishes, analyst_id, analyst_name)
SELECT id, gen_random_uuid(), %(group)s, bag_id, wash, washed_on, alcohol_percent,
    volume_ml, shake_s, dishes, analyst_id, analyst_name
FROM staged_wash WHERE old_id IS NULL
"""
OLD_WASHES: Final = """
UPDATE monitoring_wash w
SET washed_on = coalesce(w.washed_on, s.washed_on),
    alcohol_percent = coalesce(w.alcohol_percent, s.alcohol_percent),
    volume_ml = coalesce(w.volume_ml, s.volume_ml),
    shake_s = coalesce(w.shake_s, s.shake_s),
    dishes = greatest(w.dishes, s.dishes)
FROM staged_wash s
WHERE w.farm_group_id = %(group)s AND w.id = s.old_id
    AND (w.washed_on IS NULL AND s.washed_on IS NOT NULL
        OR w.alcohol_percent IS NULL AND s.alcohol_percent IS NOT NULL
        OR w.volume_ml IS NULL AND s.volume_ml IS NOT NULL
        OR w.shake_s IS NULL AND s.shake_s IS NOT NULL
        OR w.dishes < s.dishes)
"""
SUPERSEDE: Final = """
UPDATE monitoring_tally t SET state = 'superseded', chosen = false
FROM staged_match m
WHERE %(correct)s AND m.status = 'changed' AND t.farm_group_id = %(group)s
    AND t.id = m.old_id
"""
# New tallies, corrections in the place of what they correct, and recounts as a further
# reading. Of several new readings the first makes the density.
TALLIES: Final = """
INSERT INTO monitoring_tally (id, uuid, farm_group_id, wash_id, organism_id, dish_id,
    dish_number, reading, scope, cells_counted, proportion_counted, outcome, count,
    state, chosen, supersedes_id, reason, source_sheet_id, source_row, analyst_id,
    analyst_name, created_at, created_by_id)
SELECT m.id, gen_random_uuid(), %(group)s, m.wash_id, m.organism_id, m.dish_id,
    m.dish_number,
    CASE WHEN m.status = 'changed' AND NOT %(correct)s THEN (
        SELECT max(t.reading) + 1 FROM monitoring_tally t
        WHERE t.farm_group_id = %(group)s AND t.wash_id = m.wash_id
            AND t.organism_id = m.organism_id AND t.dish_number = m.dish_number
            AND t.state = 'published')
        ELSE m.reading END,
    m.scope, m.cells_counted, m.proportion, m.outcome, m.count, 'published',
    CASE WHEN m.status = 'changed' THEN %(correct)s AND m.old_chosen
        ELSE m.is_first AND (m.old_wash_id IS NULL OR NOT EXISTS (
            SELECT FROM monitoring_tally t WHERE t.farm_group_id = %(group)s
                AND t.wash_id = m.wash_id AND t.organism_id = m.organism_id
                AND t.dish_number = m.dish_number AND t.state = 'published'
                AND t.chosen))
        END,
    CASE WHEN m.status = 'changed' AND %(correct)s THEN m.old_id END,
    CASE WHEN m.status = 'changed' THEN %(reason)s ELSE '' END,
    %(sheet)s, m.number, m.analyst_id, m.analyst_name, now(), %(person)s
FROM (
    SELECT *, row_number() OVER (PARTITION BY wash_id, organism_id, dish_number
        ORDER BY status = 'changed', reading) = 1 AS is_first
    FROM staged_match WHERE status IN ('new', 'changed')
) m
"""
CELL_COUNTS: Final = """
INSERT INTO monitoring_cellcount (farm_group_id, tally_id, cell, count)
SELECT %(group)s, m.id, c.cell, c.count
FROM staged_match m, unnest(m.cells, m.cell_counts) AS c (cell, count)
WHERE m.status IN ('new', 'changed') AND m.cells IS NOT NULL
"""
# Cells that agree with a tally become its detail; its count stays what it was.
DETAIL: Final = """
INSERT INTO monitoring_cellcount (farm_group_id, tally_id, cell, count)
SELECT %(group)s, m.old_id, c.cell, c.count
FROM staged_match m, unnest(m.cells, m.cell_counts) AS c (cell, count)
WHERE m.status = 'detail'
ON CONFLICT (farm_group_id, tally_id, cell) DO UPDATE SET count = excluded.count
WHERE monitoring_cellcount.count IS NULL
"""
# A bag that a sheet brings has its way by the sheet; one that was there takes a step.
# One that was lost and has counts is found.
WAYS: Final = """
WITH moving AS (
    SELECT b.id, b.way FROM monitoring_bag b JOIN staged_bag s ON s.old_id = b.id
    WHERE b.farm_group_id = %(group)s
        AND b.way IN ('planned', 'collected', 'received', 'washed', 'lost')
        AND EXISTS (SELECT FROM staged_wash w JOIN staged_match m ON m.wash_id = w.id
            WHERE w.bag_id = s.id)
    FOR NO KEY UPDATE OF b
), moved AS (
    UPDATE monitoring_bag b SET way = 'counted'
    FROM moving WHERE b.farm_group_id = %(group)s AND b.id = moving.id
    RETURNING b.id, moving.way AS before
)
INSERT INTO monitoring_bagstep (uuid, farm_group_id, bag_id, before, way, note,
    noted_at, noted_by_id)
SELECT gen_random_uuid(), %(group)s, id, before, 'counted', '', now(), %(person)s
FROM moved
"""
CHANGES: Final = """
INSERT INTO monitoring_roundchange (farm_group_id, round_id, noted_at)
SELECT %(group)s, id, now() FROM (
    SELECT round_id AS id FROM staged_match WHERE status IN ('new', 'changed')
    UNION SELECT round_id FROM staged_bag WHERE old_id IS NULL
    UNION SELECT b.round_id FROM staged_wash s JOIN staged_bag b ON b.id = s.bag_id
        WHERE s.old_id IS NOT NULL AND s.dishes > 1
) touched
"""
IN_ORDER: Final = (
    ROUNDS, STAGES, BAGS, OLD_BAGS, WASHES, OLD_WASHES, SUPERSEDE, TALLIES, CELL_COUNTS,
    DETAIL, WAYS, *sql_scores.IN_ORDER, *sql_blanks.IN_ORDER, CHANGES,
)  # fmt: skip
TALLIED: Final = """
SELECT count(*) FILTER (WHERE status = 'new'),
    count(*) FILTER (WHERE status = 'changed'),
    count(*) FILTER (WHERE status = 'same'), count(*) FILTER (WHERE status = 'detail'),
    (SELECT count(*) FROM staged_bag WHERE old_id IS NULL),
    (SELECT count(*) FROM staged_round WHERE old_id IS NULL),
    (SELECT count(*) FROM staged_bag),
    (SELECT count(*) FROM staged_score WHERE status = 'new'),
    (SELECT count(*) FROM staged_score WHERE status = 'changed'),
    (SELECT count(*) FROM staged_blank_match WHERE status = 'new')
FROM staged_match
"""

"""The set-based half of checking and publishing, as SQL over staged tables.

Staged tables are temporary and end with their transaction: COPY straight into a table
with row-level security is refused, and the database finds duplicates and earlier
tallies in one pass whatever the sheet's length. `%(group)s` is the farm group.
"""

from typing import Final

ROW_COLUMNS: Final = (
    "number", "block_id", "collected_on", "code", "tissue", "position", "units",
    "growth_scale", "growth_code", "symptom_score", "note", "wash", "washed_on",
    "alcohol_percent", "volume_ml", "shake_s", "analyst_id", "analyst_name", "dish_id",
    "dish_number", "reading", "scorer_id", "scorer_name", "scored_on",
)  # fmt: skip
TALLY_COLUMNS: Final = (
    "number", "organism_id", "scope", "cells_counted", "proportion", "outcome",
    "count", "cells", "cell_counts",
)  # fmt: skip
CELL_COLUMNS: Final = (
    "number", "code", "organism_id", "cell", "count", "wash", "dish_number", "reading",
)  # fmt: skip
BLANK_COLUMNS: Final = (
    "number", "code", "washed_on", "after_code", "block_id", "collected_on", "wash",
    "dish_id", "analyst_id", "analyst_name", "note",
)  # fmt: skip

# Compiling these statements would take longer than running them. Sequences are looked
# up in sub-selects, which run once and not for every row.
CREATE: Final = """
SET LOCAL jit = off;
SET LOCAL work_mem = '64MB';
SET LOCAL default_statistics_target = 10;
CREATE TEMP TABLE staged_row (
    number integer, block_id bigint, collected_on date, code text, tissue text,
    position text, units integer, growth_scale text, growth_code text,
    symptom_score integer, note text, wash integer, washed_on date,
    alcohol_percent float8, volume_ml float8, shake_s float8, analyst_id bigint,
    analyst_name text, dish_id bigint, dish_number integer, reading integer,
    scorer_id bigint, scorer_name text, scored_on date
) ON COMMIT DROP;
CREATE TEMP TABLE staged_tally (
    number integer, organism_id bigint, scope text, cells_counted integer,
    proportion float8, outcome text, count integer, cells text[], cell_counts integer[]
) ON COMMIT DROP;
CREATE TEMP TABLE staged_cell (
    number integer, code text, organism_id bigint, cell text, count integer,
    wash integer, dish_number integer, reading integer, bag_id bigint
) ON COMMIT DROP;
CREATE TEMP TABLE staged_dish_cell (dish_id bigint, cell text, share float8)
ON COMMIT DROP;
CREATE TEMP TABLE staged_blank (
    number integer, code text, washed_on date, after_code text, block_id bigint,
    collected_on date, wash integer, dish_id bigint, analyst_id bigint,
    analyst_name text, note text
) ON COMMIT DROP;
"""
TABLES: Final = (
    "staged_row", "staged_tally", "staged_cell", "staged_dish_cell", "staged_round",
    "staged_bag", "staged_wash", "staged_match", "staged_score",
    "staged_blank", "staged_blank_match", "staged_label", "staged_group",
)  # fmt: skip

# A label's code in the place of a bag's: the bag of that round is meant that has it.
# Written small, or with other signs between; a bag's own code comes first.
LABELS: Final = """
ANALYZE staged_row;
CREATE TEMP TABLE staged_label ON COMMIT DROP AS
SELECT s.code AS seen, b.id AS bag_id, b.code, r.block_id, r.collected_on,
    k.name AS block, min(s.number) AS number,
    (r.block_id, r.collected_on) = (s.block_id, s.collected_on) AS here
FROM staged_row s
JOIN monitoring_bag b ON b.farm_group_id = %(group)s AND b.label <> ''
    AND b.label = translate(upper(
        regexp_replace(s.code, '[^[:alnum:]]', '', 'g')), 'SZG', '526')
JOIN monitoring_round r ON r.farm_group_id = %(group)s AND r.id = b.round_id
JOIN blocks_block k ON k.farm_group_id = %(group)s AND k.id = r.block_id
WHERE length(s.code) BETWEEN 7 AND 13 AND NOT EXISTS (
    SELECT FROM monitoring_bag o JOIN monitoring_round p ON p.id = o.round_id
    WHERE o.farm_group_id = %(group)s AND o.code = s.code
        AND p.farm_group_id = %(group)s AND p.block_id = s.block_id
        AND p.collected_on = s.collected_on)
GROUP BY s.code, b.id, b.code, r.block_id, r.collected_on, k.name, here;
UPDATE staged_row s SET code = l.code
FROM staged_label l WHERE l.seen = s.code
    AND l.block_id = s.block_id AND l.collected_on = s.collected_on;
"""
LABEL_ELSEWHERE: Final = """
SELECT number, 'bag', 'error', 'label-elsewhere', seen, format(
    'The label %%s is of bag %%s of %%s, %%s; this row says another block or day. Look'
    ' at the label, and at the row.', seen, code, block, collected_on)
FROM staged_label WHERE NOT here
"""
# A label that was typed wrongly would make another bag, and leave its own waiting.
LABEL_UNKNOWN: Final = """
SELECT min(s.number), 'bag', 'warning', 'label-unknown', s.code, format(
    '“%%s” looks like a label, but no bag of the group has it: it becomes a bag of its'
    ' own. Look at the label again.', s.code)
FROM staged_row s
WHERE s.code ~ '^[0-9A-Za-z]{3}-[0-9A-Za-z]{4}$' AND EXISTS (
    SELECT FROM monitoring_bag b JOIN monitoring_round r ON r.id = b.round_id
    WHERE b.farm_group_id = %(group)s AND b.label <> '' AND r.farm_group_id = %(group)s
        AND r.block_id = s.block_id AND r.collected_on = s.collected_on)
    AND NOT EXISTS (SELECT FROM staged_label l WHERE l.seen = s.code)
    AND NOT EXISTS (
        SELECT FROM monitoring_bag b
        WHERE b.farm_group_id = %(group)s AND b.code = s.code)
GROUP BY s.code
"""

# Resolve rounds, bags and washes: the ones that are there, or keys for new ones.
RESOLVE: Final = """
ANALYZE staged_row;
ANALYZE staged_tally;
CREATE TEMP TABLE staged_round ON COMMIT DROP AS
SELECT s.block_id, s.collected_on, s.stages, r.id AS old_id,
    coalesce(r.id, nextval((
        SELECT pg_get_serial_sequence('monitoring_round', 'id')))) AS id,
    CASE WHEN r.growth_scale <> '' THEN r.growth_scale || ' ' || r.growth_code END
        AS old_stage,
    CASE WHEN cardinality(s.stages) = 1 THEN s.stages[1] END AS stage
FROM (
    SELECT block_id, collected_on,
        array_remove(array_agg(DISTINCT
            nullif(growth_scale || ' ' || growth_code, ' ')), NULL) AS stages
    FROM staged_row GROUP BY block_id, collected_on
) s
LEFT JOIN monitoring_round r ON r.farm_group_id = %(group)s
    AND r.block_id = s.block_id AND r.collected_on = s.collected_on;
ANALYZE staged_round;
CREATE TEMP TABLE staged_bag ON COMMIT DROP AS
SELECT s.*, b.id AS old_id,
    coalesce(b.id, nextval((
        SELECT pg_get_serial_sequence('monitoring_bag', 'id')))) AS id,
    b.tissue AS old_tissue, b.position AS old_position, b.units AS old_units
FROM (
    SELECT DISTINCT ON (r.id, s.code) r.id AS round_id, s.code, s.number, s.tissue,
        s.position, s.units, s.note
    FROM staged_row s JOIN staged_round r USING (block_id, collected_on)
    ORDER BY r.id, s.code, s.wash, s.dish_number, s.reading, s.number
) s
LEFT JOIN monitoring_bag b ON b.farm_group_id = %(group)s
    AND b.round_id = s.round_id AND b.code = s.code;
ANALYZE staged_bag;
CREATE TEMP TABLE staged_wash ON COMMIT DROP AS
SELECT s.*, w.id AS old_id,
    coalesce(w.id, nextval((
        SELECT pg_get_serial_sequence('monitoring_wash', 'id')))) AS id
FROM (
    SELECT DISTINCT ON (b.id, s.wash) b.id AS bag_id, s.wash, s.washed_on,
        s.alcohol_percent, s.volume_ml, s.shake_s, s.analyst_id, s.analyst_name,
        max(s.dish_number) OVER (PARTITION BY b.id, s.wash) AS dishes
    FROM staged_row s JOIN staged_round r USING (block_id, collected_on)
    JOIN staged_bag b ON b.round_id = r.id AND b.code = s.code
    ORDER BY b.id, s.wash, s.dish_number, s.reading, s.number
) s
LEFT JOIN monitoring_wash w ON w.farm_group_id = %(group)s
    AND w.bag_id = s.bag_id AND w.number = s.wash;
ANALYZE staged_wash;
"""

# Set each staged tally beside the published one that it would replace.
MATCH: Final = """
CREATE TEMP TABLE staged_match ON COMMIT DROP AS
SELECT t.*, s.dish_id, s.dish_number, s.reading, s.analyst_id, s.analyst_name,
    w.id AS wash_id, w.old_id AS old_wash_id, r.id AS round_id,
    old.id AS old_id, old.chosen AS old_chosen,
    old.count AS old_count, old.outcome AS old_outcome,
    nextval((SELECT pg_get_serial_sequence('monitoring_tally', 'id'))) AS id,
    CASE
        WHEN old.id IS NULL THEN 'new'
        WHEN old.outcome = t.outcome AND old.count IS NOT DISTINCT FROM t.count
            AND old.scope = t.scope AND old.dish_id = s.dish_id
            AND old.cells_counted IS NOT DISTINCT FROM t.cells_counted
            AND (t.cells IS NULL OR (
                SELECT array_agg(c.cell::text ORDER BY c.cell)
                FROM monitoring_cellcount c
                WHERE c.farm_group_id = %(group)s AND c.tally_id = old.id
            ) = (SELECT array_agg(x ORDER BY x) FROM unnest(t.cells) x))
            AND (t.cell_counts IS NULL OR NOT EXISTS (
                SELECT FROM unnest(t.cells, t.cell_counts) AS x (cell, count)
                LEFT JOIN monitoring_cellcount c ON c.farm_group_id = %(group)s
                    AND c.tally_id = old.id AND c.cell = x.cell
                WHERE c.count IS DISTINCT FROM x.count))
            THEN 'same'
        WHEN t.cell_counts IS NOT NULL AND old.outcome = 'counted'
            AND old.count = t.count AND NOT EXISTS (
                SELECT FROM monitoring_cellcount c WHERE c.farm_group_id = %(group)s
                    AND c.tally_id = old.id
                    AND (c.count IS NOT NULL OR c.cell <> ALL (t.cells)))
            AND (old.scope = 'whole' AND t.proportion > 1 - 1e-12
                OR old.scope <> 'whole' AND old.cells_counted = t.cells_counted)
            THEN 'detail'
        ELSE 'changed'
    END AS status
FROM staged_tally t
JOIN staged_row s USING (number)
JOIN staged_round r USING (block_id, collected_on)
JOIN staged_bag b ON b.round_id = r.id AND b.code = s.code
JOIN staged_wash w ON w.bag_id = b.id AND w.wash = s.wash
LEFT JOIN monitoring_tally old ON old.farm_group_id = %(group)s
    AND old.wash_id = w.old_id AND old.organism_id = t.organism_id
    AND old.dish_number = s.dish_number AND old.reading = s.reading
    AND old.state = 'published';
ANALYZE staged_match;
"""

# Findings that need the whole sheet or what is stored already. Each gives row number,
# column, level, code, seen, sentence.
ROWS_TWICE: Final = """
SELECT s.number, 'bag', 'error', 'row-twice', s.code, format(
    'Rows %%s are the same block, day, bag, wash, dish and reading. Give one of them'
    ' another reading or dish_number, or leave it out.', twice.numbers)
FROM staged_row s JOIN (
    SELECT block_id, collected_on, code, wash, dish_number, reading,
        array_to_string((array_agg(number ORDER BY number))[1:6], ', ') AS numbers
    FROM staged_row GROUP BY 1, 2, 3, 4, 5, 6 HAVING count(*) > 1
) twice USING (block_id, collected_on, code, wash, dish_number, reading)
"""
BAG_DIFFERS: Final = """
SELECT s.number, 'bag', 'error', 'bag-differs', s.code, format(
    'This row says %%s; row %%s says %%s of the same bag. Make them agree.',
    concat_ws(', ', s.tissue, nullif(s.position, ''), s.units), b.number,
    concat_ws(', ', b.tissue, nullif(b.position, ''), b.units))
FROM staged_row s JOIN staged_round r USING (block_id, collected_on)
JOIN staged_bag b ON b.round_id = r.id AND b.code = s.code
WHERE (s.tissue, s.position, s.units) IS DISTINCT FROM (b.tissue, b.position, b.units)
UNION ALL
SELECT b.number, 'bag', 'error', 'bag-differs', b.code, format(
    'This row says %%s, but the bag of that round is there already as %%s. A bag keeps'
    ' what it was collected as: correct the row, or give the bag another code.',
    concat_ws(', ', b.tissue, nullif(b.position, ''), b.units),
    concat_ws(', ', b.old_tissue, nullif(b.old_position, ''), b.old_units))
FROM staged_bag b
WHERE b.old_id IS NOT NULL AND (b.tissue, b.position, b.units)
    IS DISTINCT FROM (b.old_tissue, b.old_position, b.old_units)
"""
# A code of digits alone that is there already with zeros before it.
ZEROS_LOST: Final = """
SELECT b.number, 'bag', 'error', 'zeros-lost', b.code, format(
    'This round has a bag %%s; a spreadsheet takes leading zeros away. Format the'
    ' column as text and type the code as on the bag, or give another code if it is'
    ' another bag.', old.code)
FROM staged_bag b JOIN monitoring_bag old ON old.farm_group_id = %(group)s
    AND old.round_id = b.round_id AND old.code <> b.code
    AND ltrim(old.code, '0') = b.code
WHERE b.old_id IS NULL AND b.code ~ '^[1-9][0-9]*$'
"""
STAGES_ASKED: Final = """
SELECT b.uuid, b.name, r.collected_on,
    (SELECT array_agg(DISTINCT x) FROM unnest(r.stages || r.old_stage) x
        WHERE x IS NOT NULL)
FROM staged_round r JOIN blocks_block b ON b.id = r.block_id
WHERE cardinality(r.stages) > 1
    OR cardinality(r.stages) = 1 AND r.old_stage IS NOT NULL
        AND r.old_stage <> r.stages[1]
ORDER BY b.name, r.collected_on LIMIT 50
"""
CHANGED: Final = """
SELECT m.number, o.code, 'warning', 'tally-changed', coalesce(m.count::text, m.outcome),
    format('Bag %%s has %%s published for %%s; this row says %%s.', s.code,
        coalesce(m.old_count::text, m.old_outcome), o.name,
        coalesce(m.count::text, m.outcome))
FROM staged_match m JOIN staged_row s USING (number)
JOIN monitoring_organism o ON o.id = m.organism_id
WHERE m.status = 'changed'
"""

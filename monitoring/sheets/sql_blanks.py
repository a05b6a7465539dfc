"""Blank washes of a sheet beside those that stand, and writing them, as SQL.

Parameters are those of sql_publish.
"""

from typing import Final

# What a blank says in one text, so that two can be compared.
STAGED_COUNTS: Final = """(
    SELECT string_agg(concat_ws(' ', t.organism_id, t.scope, t.cells_counted, t.count),
        ', ' ORDER BY t.organism_id)
    FROM staged_tally t WHERE t.number = s.number)"""
STORED_COUNTS: Final = """(
    SELECT string_agg(concat_ws(' ', c.organism_id, c.scope, c.cells_counted, c.count),
        ', ' ORDER BY c.organism_id)
    FROM monitoring_blankcount c
    WHERE c.farm_group_id = %(group)s AND c.blank_id = old.id)"""
MATCH: Final = f"""
CREATE TEMP TABLE staged_blank_match ON COMMIT DROP AS
SELECT s.*, w.id AS after_id, old.id AS old_id,
    nextval((SELECT pg_get_serial_sequence('monitoring_blankwash', 'id'))) AS id,
    CASE WHEN old.id IS NULL THEN 'new'
        WHEN {STAGED_COUNTS} = {STORED_COUNTS} THEN 'same'
        ELSE 'changed' END AS status
FROM staged_blank s
LEFT JOIN monitoring_blankwash old ON old.farm_group_id = %(group)s
    AND old.washed_on = s.washed_on AND old.code = s.code
    AND old.withdrawn_at IS NULL
LEFT JOIN monitoring_round r ON r.farm_group_id = %(group)s
    AND r.block_id = s.block_id AND r.collected_on = s.collected_on
LEFT JOIN monitoring_bag b ON b.farm_group_id = %(group)s AND b.round_id = r.id
    AND b.code = s.after_code
LEFT JOIN monitoring_wash w ON w.farm_group_id = %(group)s AND w.bag_id = b.id
    AND w.number = s.wash;
"""  # noqa: S608 - no value of anybody's is written into the statement
TWICE: Final = """
SELECT s.number, 'blank', 'error', 'blank-twice', s.code, format(
    'Rows %%s are the same blank of the same day. Give one of them another code, or'
    ' leave it out.', twice.numbers)
FROM staged_blank s JOIN (
    SELECT code, washed_on,
        array_to_string((array_agg(number ORDER BY number))[1:6], ', ') AS numbers
    FROM staged_blank GROUP BY 1, 2 HAVING count(*) > 1
) twice USING (code, washed_on)
"""
DIFFERS: Final = """
SELECT s.number, 'blank', 'error', 'blank-differs', s.code, format(
    'A blank %%s of that day is there with other counts. If this is another blank, give'
    ' it another code; to correct the one that is there, withdraw it under Blank washes'
    ' first.', s.code)
FROM staged_blank_match s WHERE s.status = 'changed'
"""
AFTER_UNKNOWN: Final = """
SELECT s.number, 'after_bag', 'error', 'unknown-bag-before', s.after_code, format(
    'No bag %%s with a wash %%s is known from that block and day. Publish the sheet'
    ' with the bag first, look at the code, or leave after_bag empty.',
    s.after_code, s.wash)
FROM staged_blank_match s WHERE s.after_code <> '' AND s.after_id IS NULL
"""
FINDINGS: Final = (TWICE, DIFFERS, AFTER_UNKNOWN)
BLANKS: Final = """
INSERT INTO monitoring_blankwash (id, uuid, farm_group_id, code, washed_on, after_id,
    dish_id, analyst_id, analyst_name, note, source_sheet_id, source_row, created_at,
    created_by_id, withdrawn_why)
SELECT id, gen_random_uuid(), %(group)s, code, washed_on, after_id, dish_id, analyst_id,
    analyst_name, note, %(sheet)s, number, now(), %(person)s, ''
FROM staged_blank_match WHERE status = 'new'
"""
COUNTS: Final = """
INSERT INTO monitoring_blankcount (farm_group_id, blank_id, organism_id, scope,
    cells_counted, proportion_counted, count)
SELECT %(group)s, m.id, t.organism_id, t.scope, t.cells_counted, t.proportion, t.count
FROM staged_blank_match m JOIN staged_tally t USING (number)
WHERE m.status = 'new'
"""
IN_ORDER: Final = (BLANKS, COUNTS)

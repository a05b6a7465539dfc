"""Symptom scores of a sheet beside those that stand, and writing them, as SQL.

Parameters are those of sql_publish.
"""

from typing import Final

# A row without a score says nothing about its bag's; the first that has one counts.
MATCH: Final = """
CREATE TEMP TABLE staged_score ON COMMIT DROP AS
SELECT s.*, old.id AS old_id, old.score AS old_score,
    nextval((SELECT pg_get_serial_sequence('monitoring_symptomscore', 'id'))) AS id,
    CASE WHEN old.id IS NULL THEN 'new' WHEN old.score = s.score THEN 'same'
        ELSE 'changed' END AS status
FROM (
    SELECT DISTINCT ON (b.id) b.id AS bag_id, b.old_id AS old_bag_id, s.number, s.code,
        s.symptom_score AS score, s.scorer_id, s.scorer_name, s.scored_on
    FROM staged_row s JOIN staged_round r USING (block_id, collected_on)
    JOIN staged_bag b ON b.round_id = r.id AND b.code = s.code
    WHERE s.symptom_score IS NOT NULL
    ORDER BY b.id, s.number
) s
LEFT JOIN monitoring_symptomscore old ON old.farm_group_id = %(group)s
    AND old.bag_id = s.old_bag_id AND old.state = 'published';
ANALYZE staged_score;
"""
DIFFERS: Final = """
SELECT s.number, 'symptoms', 'error', 'score-differs', s.symptom_score::text, format(
    'This row scores the bag %%s; row %%s scores the same bag %%s. Make them agree.',
    s.symptom_score, f.number, f.score)
FROM staged_row s JOIN staged_round r USING (block_id, collected_on)
JOIN staged_bag b ON b.round_id = r.id AND b.code = s.code
JOIN staged_score f ON f.bag_id = b.id
WHERE s.symptom_score <> f.score
"""
CHANGED: Final = """
SELECT s.number, 'symptoms', 'warning', 'score-changed', s.score::text, format(
    'Bag %%s has the symptom score %%s; this row says %%s.', s.code, s.old_score,
    s.score)
FROM staged_score s WHERE s.status = 'changed'
"""
SUPERSEDE: Final = """
UPDATE monitoring_symptomscore o SET state = 'superseded'
FROM staged_score s
WHERE %(rescore)s AND s.status = 'changed' AND o.farm_group_id = %(group)s
    AND o.id = s.old_id
"""
SCORES: Final = """
INSERT INTO monitoring_symptomscore (id, uuid, farm_group_id, bag_id, scale_id, score,
    state, supersedes_id, reason, source_sheet_id, source_row, scored_on, scorer_id,
    scorer_name, created_at, created_by_id)
SELECT s.id, gen_random_uuid(), %(group)s, s.bag_id, %(scale)s, s.score, 'published',
    s.old_id, CASE WHEN s.status = 'changed' THEN %(reason)s ELSE '' END, %(sheet)s,
    s.number, s.scored_on, s.scorer_id, s.scorer_name, now(), %(person)s
FROM staged_score s
WHERE s.status = 'new' OR %(rescore)s AND s.status = 'changed'
"""
IN_ORDER: Final = (SUPERSEDE, SCORES)

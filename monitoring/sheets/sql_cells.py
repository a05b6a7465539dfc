"""From staged cells to staged rows and tallies, for bags that are known already."""

from typing import Final

# A label's code in the place of a bag's, however it is written; a bag's own code comes
# first. Labels are unique in the group, so a label needs no round.
LABELS: Final = """
ANALYZE staged_cell;
UPDATE staged_cell c SET bag_id = b.id FROM monitoring_bag b
WHERE b.farm_group_id = %(group)s AND b.label <> ''
    AND b.label = translate(upper(
        regexp_replace(c.code, '[^[:alnum:]]', '', 'g')), 'SZG', '526')
    AND length(c.code) BETWEEN 7 AND 13 AND NOT EXISTS (
        SELECT FROM monitoring_bag o
        WHERE o.farm_group_id = %(group)s AND o.code = c.code);
"""
UNKNOWN_BAGS: Final = """
SELECT c.number, 'bag', 'error', 'unknown-bag', c.code, format(
    'No bag with the code or the label “%%s” is known. Cells are the detail of a bag'
    ' that was labelled before, or that a sheet of the other layout brought. Look at'
    ' the code: a spreadsheet takes leading zeros away.', c.code)
FROM staged_cell c WHERE c.bag_id IS NULL AND NOT EXISTS (
    SELECT FROM monitoring_bag b WHERE b.farm_group_id = %(group)s AND b.code = c.code)
"""
# Rounds that could be meant where codes are not unique; the person chooses one.
ROUNDS_ASKED: Final = """
SELECT r.uuid, k.name, r.collected_on
FROM monitoring_bag b JOIN monitoring_round r ON r.id = b.round_id
JOIN blocks_block k ON k.id = r.block_id
WHERE b.farm_group_id = %(group)s AND b.code IN (
    SELECT c.code FROM (SELECT DISTINCT code FROM staged_cell WHERE bag_id IS NULL) c
    JOIN monitoring_bag x ON x.farm_group_id = %(group)s AND x.code = c.code
    GROUP BY c.code HAVING count(*) > 1)
GROUP BY r.uuid, k.name, r.collected_on
ORDER BY r.collected_on DESC, k.name LIMIT 60
"""
BAGS_BY_CODE: Final = """
UPDATE staged_cell c SET bag_id = b.id
FROM monitoring_bag b JOIN monitoring_round r ON r.id = b.round_id
WHERE c.bag_id IS NULL AND b.farm_group_id = %(group)s AND b.code = c.code
    AND (%(round)s::uuid IS NULL OR r.uuid = %(round)s::uuid);
"""
NOT_IN_ROUND: Final = """
SELECT c.number, 'bag', 'error', 'bag-elsewhere', c.code, format(
    'The round that was chosen for this sheet has no bag “%%s”. Look at the code, or'
    ' put the cells of other rounds into a sheet of their own.', c.code)
FROM staged_cell c WHERE c.bag_id IS NULL AND EXISTS (
    SELECT FROM monitoring_bag b WHERE b.farm_group_id = %(group)s AND b.code = c.code)
"""
CELL_TWICE: Final = """
SELECT c.number, 'cell', 'error', 'cell-twice', c.cell, format(
    'Rows %%s are the same cell of the same bag and organism. Keep one of them.',
    array_to_string(c.numbers[1:6], ', '))
FROM (
    SELECT number, cell, array_agg(number) OVER (
        PARTITION BY bag_id, CASE WHEN bag_id IS NULL THEN code END, organism_id, cell,
            wash, dish_number, reading
        ORDER BY number ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING
    ) AS numbers
    FROM staged_cell
) c WHERE cardinality(c.numbers) > 1
"""
TO_ROWS: Final = """
ANALYZE staged_cell;
CREATE TEMP TABLE staged_group ON COMMIT DROP AS
SELECT min(c.number) AS number, b.id AS bag_id, c.wash, c.dish_number, c.reading,
    coalesce((
        SELECT t.dish_id
        FROM monitoring_tally t JOIN monitoring_wash w ON w.id = t.wash_id
        WHERE w.farm_group_id = %(group)s AND w.bag_id = b.id AND w.number = c.wash
            AND t.farm_group_id = %(group)s AND t.dish_number = c.dish_number
            AND t.state = 'published' LIMIT 1
    ), %(usual_dish)s) AS dish_id
FROM staged_cell c
JOIN monitoring_bag b ON b.farm_group_id = %(group)s AND b.id = c.bag_id
GROUP BY b.id, c.wash, c.dish_number, c.reading;
INSERT INTO staged_row
SELECT g.number, r.block_id, r.collected_on, b.code, b.tissue, b.position, b.units,
    '', '', NULL, '', g.wash, NULL, NULL, NULL, NULL, NULL, '', g.dish_id,
    g.dish_number, g.reading, NULL, '', NULL
FROM staged_group g JOIN monitoring_bag b ON b.id = g.bag_id
JOIN monitoring_round r ON r.id = b.round_id;
INSERT INTO staged_tally
SELECT g.number, c.organism_id, 'named_cells', count(*), least(sum(d.share), 1),
    'counted', sum(c.count), array_agg(c.cell ORDER BY c.number),
    array_agg(c.count ORDER BY c.number)
FROM staged_cell c JOIN staged_group g USING (bag_id, wash, dish_number, reading)
JOIN staged_dish_cell d ON d.dish_id = g.dish_id AND d.cell = c.cell
GROUP BY g.number, c.organism_id;
"""
CELL_NOT_ON_DISH: Final = """
SELECT c.number, 'cell', 'error', 'no-such-cell', c.cell, format(
    'The dish that this bag was counted in has no cell %%s.', c.cell)
FROM staged_cell c JOIN staged_group g USING (bag_id, wash, dish_number, reading)
LEFT JOIN staged_dish_cell d ON d.dish_id = g.dish_id AND d.cell = c.cell
WHERE d.cell IS NULL
"""

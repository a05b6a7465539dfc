"""From staged cells to staged rows and tallies, for bags that are known already."""

from typing import Final

UNKNOWN_BAGS: Final = """
SELECT c.number, 'bag', 'error', 'unknown-bag', c.code, format(
    'No bag with the code “%%s” is known. Cells are the detail of a bag that a sheet of'
    ' the other layout brought first. Look at the code: a spreadsheet takes leading'
    ' zeros away.', c.code)
FROM staged_cell c WHERE NOT EXISTS (
    SELECT FROM monitoring_bag b WHERE b.farm_group_id = %(group)s AND b.code = c.code)
"""
CELL_TWICE: Final = """
SELECT c.number, 'cell', 'error', 'cell-twice', c.cell, format(
    'Rows %%s are the same cell of the same bag and organism. Keep one of them.',
    twice.numbers)
FROM staged_cell c JOIN (
    SELECT code, organism_id, cell, wash, dish_number, reading,
        array_to_string((array_agg(number ORDER BY number))[1:6], ', ') AS numbers
    FROM staged_cell GROUP BY 1, 2, 3, 4, 5, 6 HAVING count(*) > 1
) twice USING (code, organism_id, cell, wash, dish_number, reading)
"""
# Rounds that could be meant where codes are not unique; the person chooses one.
ROUNDS_ASKED: Final = """
SELECT r.uuid, k.name, r.collected_on
FROM monitoring_bag b JOIN monitoring_round r ON r.id = b.round_id
JOIN blocks_block k ON k.id = r.block_id
WHERE b.farm_group_id = %(group)s AND b.code IN (
    SELECT c.code FROM (SELECT DISTINCT code FROM staged_cell) c
    JOIN monitoring_bag x ON x.farm_group_id = %(group)s AND x.code = c.code
    GROUP BY c.code HAVING count(*) > 1)
GROUP BY r.uuid, k.name, r.collected_on
ORDER BY r.collected_on DESC, k.name LIMIT 60
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
JOIN monitoring_bag b ON b.farm_group_id = %(group)s AND b.code = c.code
JOIN monitoring_round r ON r.id = b.round_id
WHERE %(round)s::uuid IS NULL OR r.uuid = %(round)s::uuid
GROUP BY b.id, c.wash, c.dish_number, c.reading;
INSERT INTO staged_row
SELECT g.number, r.block_id, r.collected_on, b.code, b.tissue, b.position, b.units,
    '', '', NULL, '', g.wash, NULL, NULL, NULL, NULL, NULL, '', g.dish_id,
    g.dish_number, g.reading, NULL, '', NULL
FROM staged_group g JOIN monitoring_bag b ON b.id = g.bag_id
JOIN monitoring_round r ON r.id = b.round_id;
INSERT INTO staged_tally
SELECT s.number, c.organism_id, 'named_cells', count(*), least(sum(d.share), 1),
    'counted', sum(c.count), array_agg(c.cell ORDER BY c.number),
    array_agg(c.count ORDER BY c.number)
FROM staged_cell c JOIN staged_row s
    ON s.code = c.code AND s.wash = c.wash AND s.dish_number = c.dish_number
    AND s.reading = c.reading
JOIN staged_dish_cell d ON d.dish_id = s.dish_id AND d.cell = c.cell
GROUP BY s.number, c.organism_id;
DROP TABLE staged_group;
"""
CELL_NOT_ON_DISH: Final = """
SELECT c.number, 'cell', 'error', 'no-such-cell', c.cell, format(
    'The dish that this bag was counted in has no cell %%s.', c.cell)
FROM staged_cell c JOIN staged_row s
    ON s.code = c.code AND s.wash = c.wash AND s.dish_number = c.dish_number
    AND s.reading = c.reading
LEFT JOIN staged_dish_cell d ON d.dish_id = s.dish_id AND d.cell = c.cell
WHERE d.cell IS NULL
"""

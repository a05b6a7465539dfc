"""Check characters of label codes against Damm's own scheme.

The table of order 10 and its example 572 -> 4: H. M. Damm, Total anti-symmetrische
Quasigruppen, dissertation, Marburg 2004, as both are widely reprinted (from memory).
"""

from itertools import pairwise, permutations, product

import pytest

from monitoring.labels.codes import ALPHABET, LENGTH, new_code, with_check
from monitoring.labels.damm import SIXTEEN, left_over

DAMM_TEN = [
    [int(digit) for digit in row]
    for row in (
        "0317598642",
        "7092154863",
        "4206871359",
        "1750983426",
        "6123045978",
        "3674209581",
        "5869720134",
        "8945362017",
        "9438617205",
        "2581436790",
    )
]


def _checks(code: str) -> bool:
    return left_over(ALPHABET.index(sign) for sign in code) == 0


def test_the_published_table_gives_the_published_check_digit() -> None:
    assert left_over([5, 7, 2], DAMM_TEN) == 4
    assert left_over([5, 7, 2, 4], DAMM_TEN) == 0


def test_the_table_of_sixteen_is_a_quasigroup_with_noughts_on_its_diagonal() -> None:
    everything = set(range(16))
    assert all(set(row) == everything for row in SIXTEEN)
    assert all(set(column) == everything for column in zip(*SIXTEEN, strict=True))
    assert all(SIXTEEN[value][value] == 0 for value in everything)


@pytest.mark.parametrize("table", [SIXTEEN, DAMM_TEN], ids=["sixteen", "ten"])
def test_the_tables_are_totally_anti_symmetric(table: list[list[int]]) -> None:
    """Damm's condition: (c * a) * b = (c * b) * a only where a = b."""
    size = range(len(table))
    assert all(
        table[table[c][a]][b] != table[table[c][b]][a]
        for c, (a, b) in product(size, permutations(size, 2))
    )


def test_every_single_wrong_sign_is_caught() -> None:
    for code in (new_code() for _ in range(50)):
        assert _checks(code)
        missed = [
            (place, sign)
            for place, sign in product(range(LENGTH), ALPHABET)
            if sign != code[place] and _checks(code[:place] + sign + code[place + 1 :])
        ]
        assert missed == []


def test_every_swap_of_neighbours_is_caught_the_check_character_too() -> None:
    # By the table all starts are alike; these hold each pair at the first two places,
    # and random codes the other places.
    codes = [with_check(a + b + "7C4X") for a, b in product(ALPHABET, repeat=2)]
    for code in [*codes, *(new_code() for _ in range(200))]:
        for place, (left, right) in enumerate(pairwise(code)):
            swapped = code[:place] + right + left + code[place + 2 :]
            assert left == right or not _checks(swapped), (code, swapped)

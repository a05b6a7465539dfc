"""Alert states with a deadband, against a worked sequence.

Source: chances of one block over ten surveys; raising at 0.80, clearing after two
surveys running under 0.50, states worked out by hand. The concepts (deadband,
on and off delay) are those of OPC UA Part 9, annex B.1.5, and ANSI/ISA-18.2-2016 (the
latter from memory).
"""

from alerts.rules import standing

CHANCES = [0.30, 0.62, 0.82, 0.78, 0.55, 0.45, 0.28, 0.15, 0.85, 0.97]
STATES = [False, False, True, True, True, True, False, False, True, True]


def test_a_sequence_of_chances_gives_its_published_states() -> None:
    assert standing(CHANCES, raise_at=0.80, clear_below=0.50, clear_count=2) == STATES


def test_the_chance_at_the_limit_raises_and_one_below_it_clears() -> None:
    assert standing([0.80], raise_at=0.80, clear_below=0.50) == [True]
    assert standing([0.9, 0.5, 0.5], raise_at=0.8, clear_below=0.5) == [True] * 3


def test_a_round_without_a_figure_keeps_the_state() -> None:
    chances = [0.9, None, 0.2, None, 0.2]
    states = standing(chances, raise_at=0.8, clear_below=0.5)
    assert states == [True, True, True, True, False]

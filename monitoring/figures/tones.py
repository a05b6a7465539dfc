"""Which colour, mark and dash an organism has, by its place in the group's list."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tone:
    """A colour's name in the style sheet, with a mark and a dash of its own."""

    colour: str
    symbol: str
    dash: str


TONES = (
    Tone("rust", "circle", "solid"),
    Tone("teal", "diamond", "longdash"),
    Tone("indigo", "triangle-up", "dot"),
    Tone("plum", "square", "dashdot"),
    Tone("focus", "cross", "dash"),
    Tone("warn", "star", "longdashdot"),
)


def tone_of(position: int) -> Tone:
    """Give the tone of the organism at a place; they repeat after six."""
    return TONES[position % len(TONES)]

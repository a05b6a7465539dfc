"""What symptom scores say of their causes, in words."""

from math import isinf

from monitoring.models import Organism
from monitoring.symptoms.association import (
    FEWEST_BAGS_WITH,
    LEAVES_A_SLOPE,
    Association,
    Effect,
    Why,
)
from monitoring.words import figure, interval, leaves, sentence_case

# Up to this many times the odds, more animals are said to add little.
LITTLE = 1.5
NO_PROOF = (
    "This is an association, no proof of a cause: something else may bring both the"
    " animals and the damage, counts are of one day, and scars stay when the animals"
    " have gone."
)


def odds(effect: Effect) -> str:
    """Write an odds ratio with its interval."""
    if effect.why is not None:
        return "none can be given"
    low, high = effect.low, effect.high
    return (
        f"{figure(effect.odds_ratio)} ({interval(low, None if isinf(high) else high)})"
    )


def verdict(found: Association, organisms: list[Organism]) -> str:
    """Say which organism the damage goes with, or that it cannot be told."""
    if not found.named:
        return "These scores cannot tell which organism the damage goes with."
    names = " and with ".join(organisms[place].name for place in found.named)
    both = "both: with " if len(found.named) > 1 else ""
    return f"Here the damage goes with {both}{names}."


def explained(found: Association, organisms: list[Organism]) -> list[str]:
    """Say why, or how strongly, and what of the other organism."""
    if found.why is not None:
        return [_why(found.why, found, organisms)]
    told = {
        place: (effect, organism)
        for place, (effect, organism) in enumerate(
            zip(found.effects, organisms, strict=True)
        )
    }
    others = [pair for place, pair in told.items() if place not in found.named]
    return [_named(*told[place]) for place in found.named] + [
        _other(*pair) for pair in others
    ]


def _named(effect: Effect, organism: Organism) -> str:
    return (
        f"Of two leaves of a round and canopy position, the one with ten times the"
        f" {organism.name} has {odds(effect)} times the odds of a higher score."
    )


def _other(effect: Effect, organism: Organism) -> str:
    name = sentence_case(organism.name)
    if effect.why is Why.RARE:
        return (
            f"{name} were seen on {leaves(effect.bags_with)} only: too few to judge"
            " them by."
        )
    if effect.high < 1:
        return f"Leaves with more {organism.name} even score lower: {odds(effect)}."
    if effect.high <= LITTLE:
        return f"{name} add little, if anything: {odds(effect)}."
    return (
        f"That {organism.name} add to it is neither shown nor ruled out:"
        f" {odds(effect)}."
    )


def _why(why: Why, found: Association, organisms: list[Organism]) -> str:
    names = " and ".join(one.name for one in organisms)
    wanted = LEAVES_A_SLOPE * len(organisms)
    words = {
        Why.ONE_LEVEL: "All leaves have the same score, so nothing goes with it.",
        Why.TOO_FEW_BAGS: (
            f"{leaves(found.bags)} with a score are worth {found.bags_counting:.0f} for"
            f" this question; {wanted} or more are asked for. Leaves in one level only"
            " count least."
        ),
        Why.ALIKE_IN_ROUNDS: (
            "The leaves of each round and canopy position all score alike, and only"
            " such leaves are compared: blocks, days and positions differ in much else."
        ),
        Why.RARE: (f"None of {names} was seen on {FEWEST_BAGS_WITH} leaves or more."),
        Why.SEPARATED: (
            "The animals split the scores without any overlap, so that no odds ratio"
            " can be given, however large. More leaves between the two would."
        ),
        Why.TOGETHER: (
            f"{sentence_case(names)} rise and fall together on the same leaves"
            f" (correlation {found.correlation:.2f}, counting errors taken out):"
            " whichever causes the damage, the other seems to as well. Score leaves"
            " where one is common and the other rare."
        ),
        Why.NEITHER: (
            "Neither interval lies above 1: higher scores go surely with neither of"
            f" {names}. More scored leaves narrow the intervals; damage may also come"
            " from elsewhere."
        ),
    }
    return words[why]

"""What the pages of training say."""

from collections.abc import Sequence

from monitoring.models import AgreementStandard, ReferenceDish
from monitoring.pages.agreement import FEWEST_PAIRS
from monitoring.pages.agreement_standard import MET, NOT_MET
from monitoring.pages.agreement_words import dishes
from monitoring.pages.training_record import Few, Standing
from monitoring.training.judging import FEW_ANIMALS
from monitoring.words import day, figure, sentence_case

NO_STANDARD = "The lab has stated no standard yet."


def times(magnification: float | None) -> str:
    """Write a magnification: “40 times”."""
    return "no magnification noted" if not magnification else f"{magnification:g} times"


def kind(standing: Standing) -> str:
    """Name an organism and a magnification."""
    if standing.magnification:
        return f"{standing.organism.name} at {times(standing.magnification)}"
    return f"{standing.organism.name}, {times(None)}"


def sentence_of(
    standings: Sequence[Standing], standard: AgreementStandard | None
) -> str:
    """Say over the phone how far a counter has come with reference dishes."""
    if not standings:
        return "No reference dish was counted yet."
    if standard is None:
        number = max(one.dishes for one in standings)
        return f"{sentence_case(dishes(number))} counted so far. {NO_STANDARD}"
    met = [kind(one) for one in standings if one.verdict == MET]
    others = [one for one in standings if one.verdict != MET]
    told = []
    if met:
        told.append(f"The lab's standard is met for {_listed(met)}.")
    alike: dict[str, list[str]] = {}
    for one in others:
        alike.setdefault(more_words(one), []).append(kind(one))
    told += [f"{sentence_case(_listed(kinds))}: {how}." for how, kinds in alike.items()]
    return " ".join(told)


def more_words(standing: Standing) -> str:
    """Say what is lacking for the standard, and why."""
    if standing.verdict == MET:
        return "the standard is met"
    if standing.dishes < FEWEST_PAIRS:
        return f"{dishes(standing.dishes)} of the {FEWEST_PAIRS} that it takes at least"
    if standing.verdict == NOT_MET:
        return f"the standard is not met after {dishes(standing.dishes)}"
    return f"not settled{_lacking(standing)}"


def _lacking(standing: Standing) -> str:
    more = standing.more_dishes
    if standing.concordance is None:
        return "; dishes with other numbers are needed before agreement can be told"
    if more is None:
        return "; counts must come nearer to what is there"
    if standing.by_ratio and len(standing.full) < FEWEST_PAIRS:
        return (
            f"; {more} more with {FEW_ANIMALS} animals or more are needed before ratios"
            " can be told"
        )
    if more:
        return f"; about {more} more like those so far would settle it"
    outside = standing.few.outside if standing.few else 0
    return f"; {dishes(outside)} of few animals outside the limits" if outside else ""


def _listed(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def few_words(few: Few | None) -> str:
    """Say how dishes of few animals were counted."""
    if few is None:
        return "none"
    told = (
        f"{few.counted} counted of {few.there} in {dishes(few.dishes)}"
        f" (limits {figure(few.low)} to {figure(few.high)})"
    )
    return told if not few.outside else f"{told}; {few.outside} outside their limits"


def standard_words(standard: AgreementStandard | None) -> str:
    """Say what the lab asks for."""
    if standard is None:
        return NO_STANDARD
    return (
        f"Since {day(standard.valid_from)} the lab asks for a concordance of at least"
        f" {standard.least_concordance:g}, and for 95 in 100 counts within"
        f" {standard.widest_ratio:g} times."
    )


def place_words(reference: ReferenceDish) -> str:
    """Say what is to be counted."""
    if not reference.cells:
        return "the whole dish"
    return f"{len(reference.cells)} cells"

"""The sentences that open the page of the counters."""

from monitoring.models import AgreementStandard, Organism
from monitoring.pages.agreement import (
    FEWEST_PAIRS,
    Agreement,
)
from monitoring.pages.agreement_standard import MET, NOT_MET, Judged
from monitoring.words import day, several


def dishes(number: int) -> str:
    """Write a number of dishes."""
    return "1 dish" if number == 1 else f"{number:,} dishes"


def sentence_of(agreement: Agreement, organism: Organism, tissue: str) -> str:
    """Say over the phone how well two counters agree."""
    number = len(agreement.compared)
    what = f"{organism.name} on {several(tissue)}"
    if agreement.limits is None:
        some = f"{dishes(number)} of {what} {'was' if number == 1 else 'were'}"
        if not number:
            some = f"No dish of {what} was"
        return (
            f"{some} counted by two people; nothing is estimated from fewer than"
            f" {FEWEST_PAIRS}."
        )
    limits = agreement.limits
    told = f"Of {what}, {dishes(number)} were counted by two people:"
    if agreement.always_the_same:
        return f"{told} both readings were the same in every dish."
    told += (
        f" 95 in 100 second readings lie between {limits.low:.2f} and"
        f" {limits.high:.2f} times the first."
    )
    return " ".join([told, _concordance_words(agreement), *_drifting(agreement)])


def _concordance_words(agreement: Agreement) -> str:
    found = agreement.concordance
    if found is None:
        return f"The concordance cannot be told: {agreement.reason}."
    return f"The concordance is {agreement.concordance_words}."


def _drifting(agreement: Agreement) -> list[str]:
    names = [one.name for one in agreement.counters if one.drifts or one.outside_now]
    if not names:
        return []
    *first, last = names
    named = f"{', '.join(first)} and {last}" if first else last
    return [f"Look at the drift of {named}."]


def standard_words(standard: AgreementStandard | None, judged: list[Judged]) -> str:
    """Say whether the lab's standard is met."""
    if standard is None:
        return "The lab has stated no standard yet."
    since = f"The standard asked for since {day(standard.valid_from)}"
    if not judged:
        return f"{since} cannot be held against so few recounts."
    verdicts = {one.verdict for one in judged}
    if verdicts == {MET}:
        return f"{since} is met."
    if NOT_MET in verdicts:
        return f"{since} is not met."
    return f"{since} is not settled: the intervals hold it, so more recounts must tell."

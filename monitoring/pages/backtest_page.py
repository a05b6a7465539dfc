"""How forecasts would have held on the blocks that a member sees."""

from dataclasses import dataclass
from datetime import date, timedelta

from blocks.access import Member, visible_blocks
from blocks.models import Block
from monitoring.forecasts.past import (
    PastForecast,
    PastSummary,
    past_forecasts,
    summary_of,
)
from monitoring.forecasts.series import Subject, read_series
from monitoring.queries.seasons import organisms_of_group
from monitoring.thresholds import thresholds_in_force
from monitoring.words import day, sentence_case, stated

# So many blocks and days are looked through: a page must come within seconds.
MOST_BLOCKS = 24
LOOKED_BACK = timedelta(days=1100)
# So many forecasts are listed, the newest; all are counted.
MOST_LISTED = 150
NO_DATES = {
    "too_few_rounds": "too few rounds since a treatment",
    "none_found": "no animal found",
    "above": "more likely above already than not",
    "beyond": "further ahead than the rounds can see",
    "unsure": "growth too unsure",
}
VERDICTS = {
    "held": "held",
    "early": "missed: crossed earlier",
    "late": "missed: crossed later, or not at all",
    "open": "open: the rounds end before the interval does",
    "treated": "not judged: treated in between",
    "no date": "",
}


@dataclass(frozen=True, slots=True)
class PastLine:
    """One past forecast with a date, as the page lists it."""

    forecast: PastForecast
    block: Block
    subject: str
    verdict: str
    crossed: str


@dataclass(frozen=True, slots=True)
class OwnBacktest:
    """The group's own past forecasts, in sentences and rows."""

    sentence: str
    summary: PastSummary
    no_dates: list[tuple[str, int]]
    lines: list[PastLine]
    blocks: int
    blocks_of: int


def own_backtest(member: Member, *, today: date) -> OwnBacktest:
    """Forecast again at every past round of the blocks that a member sees."""
    every = list(visible_blocks(member))
    blocks = {one.pk: one for one in every[:MOST_BLOCKS]}
    organisms = {one.pk: one for one in organisms_of_group(member.group_id)}
    thresholds = [
        one
        for one in thresholds_in_force(member.group_id, list(blocks))
        if one.prey_id is None
    ]
    subjects = {
        Subject(one.block_id, one.tissue, one.organism_id) for one in thresholds
    }
    series = read_series(
        member.group_id, list(blocks), subjects, since=today - LOOKED_BACK
    )
    found = past_forecasts(series, thresholds, organisms)
    summary = summary_of(found)
    return OwnBacktest(
        sentence=_sentence(summary),
        summary=summary,
        no_dates=[
            (words, summary.outcomes[key])
            for key, words in NO_DATES.items()
            if summary.outcomes.get(key)
        ],
        lines=[
            line_of(one, blocks[one.subject.block_id])
            for one in found
            if one.outcome == "date"
        ][:MOST_LISTED],
        blocks=len(blocks),
        blocks_of=len(every),
    )


def line_of(forecast: PastForecast, block: Block) -> PastLine:
    """Put one past forecast into words."""
    crossed = forecast.crossed_on
    return PastLine(
        forecast=forecast,
        block=block,
        subject=f"{forecast.organism.name} on {forecast.subject.tissue},"
        f" {stated(forecast.level)}",
        verdict=VERDICTS[forecast.verdict],
        crossed=day(crossed) if crossed else "not seen above",
    )


def _sentence(summary: PastSummary) -> str:
    if not summary.forecasts:
        return (
            "No season of your blocks has rounds enough before a crossing to try"
            " forecasts on."
        )
    tried = (
        f"at {summary.forecasts} earlier rounds of your blocks a forecast would have"
        " been asked for"
    )
    if not summary.judged:
        return sentence_case(f"{tried}; none gave a date that can be judged by now.")
    share = round(100 * summary.held / summary.judged)
    return sentence_case(
        f"{tried}; {summary.judged} dates can be judged by later rounds, and"
        f" {summary.held} of their intervals held ({share} in 100; 80 are meant to)."
    )

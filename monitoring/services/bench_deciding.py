"""What a person decides about a reading that waits, or that was set apart."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Literal

from blocks.access import COUNTERS, Member, Role, require
from blocks.errors import ConflictError, SiteError
from monitoring.models import Bag, BenchReading, Dish, Round, Tally
from monitoring.services.bench_publishing import How, Terms
from monitoring.services.bench_readings import (
    finished,
    follow,
    lock_bags,
    settle,
    wait,
)
from monitoring.services.changes import note_changed_rounds
from monitoring.sheets.publishing_lock import publish_beside_others

State = BenchReading.State
Choice = Literal[
    "recount", "instead", "although", "set_aside", "take_up", "give", "choose"
]
# Which way out goes with which doubt; setting a reading aside goes with all.
MENDED_BY_GIVING = frozenset({"no-bag", "no-dish", "not-on-dish"})
LONGEST_WHY = 300
HOW: Mapping[Choice, How] = MappingProxyType(
    {"recount": "recount", "instead": "instead", "although": "although"}
)


class NotThisChoiceError(SiteError):
    """A choice that does not go with what is doubtful about a reading."""

    code = "not-this-choice"
    status = 422

    def __init__(self, sentence: str, *, field: str = "choice") -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What was chosen and why, and when the reading was last seen to change.

    bag, dish: of a reading that is given to one. score_stands: whether its symptom
    score takes the place of the bag's.
    """

    choice: Choice
    now: datetime
    seen: str
    why: str = ""
    bag: Bag | None = None
    dish: Dish | None = None
    score_stands: bool = False


def choices_for(reading: BenchReading, *, coordinator: bool) -> list[Choice]:
    """List what can be chosen for a reading as it stands, the usual one first."""
    if reading.state == State.OPEN:
        # Left lying, or at a device that is gone.
        return ["set_aside"]
    if reading.state == State.SET_ASIDE:
        return ["take_up"]
    if reading.state not in {State.WAITING, State.QUARANTINED}:
        return []
    doubts = set(reading.told.get("doubts", []))
    ways: list[Choice] = ["although"]
    if doubts & MENDED_BY_GIVING:
        ways = ["give"]
    elif "nothing-counted" in doubts:
        ways = []
    elif "already-counted" in doubts:
        ways = ["recount", "instead"] if coordinator else ["recount"]
    return [*ways, "set_aside"]


def mark_of(reading: BenchReading) -> str:
    """Give a mark that changes whenever a reading's state or doubts do."""
    parts = [reading.state, reading.bag_id, reading.dish_id]
    return "/".join(map(str, [*parts, *reading.told.get("doubts", [])]))


def decide(member: Member, reading: BenchReading, decision: Decision) -> BenchReading:
    """Do what was decided, and keep who did and why; give the reading as it is now.

    Of two people at once the second is told. Raises ConflictError for a reading that
    changed since it was looked at, NotThisChoiceError for a choice it does not have.
    """
    require(member, COUNTERS)
    if decision.choice in {"instead", "choose"}:
        # Which reading makes the figures that were reported, the coordinator answers.
        require(member, {Role.COORDINATOR})
    locked: BenchReading = (
        BenchReading.objects.for_group(member.group_id)
        .select_related("decided_by", "analyst", "dish")
        .select_for_update(of=("self",), no_key=True)
        .get(pk=reading.pk)
    )
    refuse_what_moved(locked, decision.seen)
    if not publish_beside_others(member.group_id):
        raise ConflictError(
            "A count sheet is being published just now. Wait a moment, and keep the"
            " decision then."
        )
    if decision.choice == "choose":
        _choose(locked, decision)
    elif decision.choice not in choices_for(
        locked, coordinator=member.role == Role.COORDINATOR
    ):
        raise NotThisChoiceError("That does not go with this reading. Choose another.")
    else:
        _DO[decision.choice](member, locked, decision)
    _note(member, locked, decision)
    if decision.choice == "take_up":
        follow(member, [locked.uuid])
        locked.refresh_from_db()
    return locked


def _note(member: Member, reading: BenchReading, decision: Decision) -> None:
    """Keep who decided what and why; all of it: there may be several steps."""
    why = decision.why[:LONGEST_WHY]
    reading.decided_at, reading.decided_by = decision.now, member.user
    reading.decided_why = why
    reading.told["decisions"] = [
        *reading.told.get("decisions", []),
        {
            "choice": decision.choice,
            "who": member.user.name,
            "at": decision.now.isoformat(),
            "why": why,
        },
    ]
    reading.save()


def refuse_what_moved(reading: BenchReading, seen: str) -> None:
    """Tell the second of two people what the first did; by the mark that was seen."""
    if mark_of(reading) == seen:
        return
    who = reading.decided_by.name if reading.decided_by else "Somebody"
    raise ConflictError(
        f"{who} decided about this reading since the page was opened: it is"
        f" {reading.get_state_display()} now. Nothing of yours was done; look at it"
        " again below."
    )


def _needs_why(decision: Decision, sentence: str) -> None:
    if not decision.why:
        raise NotThisChoiceError(sentence, field="why")


def _set_aside(_: Member, reading: BenchReading, decision: Decision) -> None:
    _needs_why(decision, "Say why it is set aside; its presses are kept.")
    reading.state = State.SET_ASIDE


def _take_up(_: Member, reading: BenchReading, decision: Decision) -> None:
    _needs_why(decision, "Say why it is taken up again.")
    reading.state = State.OPEN
    reading.why = ""


def _give(member: Member, reading: BenchReading, decision: Decision) -> None:
    """Give a reading its bag or its dish, and judge it anew."""
    if reading.bag_id is None and decision.bag is None:
        raise NotThisChoiceError("Say which bag it was.", field="bag")
    asks_dish = reading.dish_id is None or "not-on-dish" in reading.told["doubts"]
    if asks_dish and decision.dish is None:
        raise NotThisChoiceError("Say which dish it was.", field="dish")
    if reading.bag_id is None and decision.bag is not None:
        reading.bag = decision.bag
    if asks_dish and decision.dish is not None:
        reading.dish = decision.dish
    lock_bags(member.group_id, [reading])
    settle(reading, Terms(member=member))


def _publish(member: Member, reading: BenchReading, decision: Decision) -> None:
    if decision.choice == "instead":
        _needs_why(decision, "Say why it is used instead; the old reading is kept.")
    if decision.choice == "although":
        _needs_why(decision, "Say why it can be published although it is in doubt.")
    lock_bags(member.group_id, [reading])
    done = finished(reading, member)
    codes = [doubt.code for doubt in done.doubts]
    if set(codes) != set(reading.told.get("doubts", [])):
        # What it meets has changed, and the person has not seen it.
        wait(reading, done, done.doubts)
        raise ConflictError(
            "Something was published for this bag since the page was opened. Look at"
            " both below, and choose again."
        )
    terms = Terms(
        member=member,
        how=HOW[decision.choice],
        why=decision.why,
        score_stands=decision.score_stands,
    )
    settle(reading, terms)


_DO: Mapping[Choice, Callable[[Member, BenchReading, Decision], None]] = (
    MappingProxyType(
        {
            "recount": _publish,
            "instead": _publish,
            "although": _publish,
            "set_aside": _set_aside,
            "take_up": _take_up,
            "give": _give,
        }
    )
)


def _choose(reading: BenchReading, decision: Decision) -> None:
    """Let a published reading make the density, in the place of another."""
    _needs_why(decision, "Say why it is used instead; the old reading is kept.")
    mine = list(
        Tally.objects.for_group(reading.farm_group_id).filter(
            source_reading=reading, state=Tally.State.PUBLISHED, chosen=False
        )
    )
    if reading.state != State.PUBLISHED or not mine:
        raise NotThisChoiceError("The figures are made with this reading already.")
    lock_bags(reading.farm_group_id, [reading])
    group = Tally.objects.for_group(reading.farm_group_id)
    for tally in mine:
        group.filter(
            wash=tally.wash_id,
            organism=tally.organism_id,
            dish_number=tally.dish_number,
            state=Tally.State.PUBLISHED,
            chosen=True,
        ).update(chosen=False)
    group.filter(pk__in=[tally.pk for tally in mine]).update(chosen=True)
    note_changed_rounds(
        reading.farm_group_id,
        Round.objects.for_group(reading.farm_group_id)
        .filter(bags=reading.bag_id)
        .distinct(),
    )

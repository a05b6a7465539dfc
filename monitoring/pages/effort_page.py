"""What the page of how many bags to take shows: the plan and what it rests on."""

from dataclasses import dataclass
from math import ceil, inf, isfinite

from monitoring.effort.asked import Plan, Subject, Wanted
from monitoring.effort.plans import Clumping, Scale
from monitoring.effort.trials import Trials
from monitoring.pages.effort_precision import PrecisionPart, precision_part
from monitoring.pages.effort_tests import TestPart, presence_part, test_part
from monitoring.words import figure, interval, several, stated

# Beyond this a number of bags is no plan.
MOST_OF_USE = 1000
# Other densities shown beside those asked for, as shares of them.
AROUND = (0.1, 1 / 3, 3)


@dataclass(frozen=True, slots=True)
class EffortPage:
    """The answer to a form: sentence, table of densities, and the three plans."""

    plan: Plan
    sentence: str
    clumping_words: str
    recovery_words: str
    floor_words: str
    needed: list["Needed"]
    precision: PrecisionPart
    trials_words: str
    test: TestPart | None
    presence: TestPart | None


@dataclass(frozen=True, slots=True)
class Needed:
    """How many bags the wanted precision takes at one density."""

    label: str
    density: float
    counted: float
    k: float
    bags: float

    @property
    def bags_words(self) -> str:
        """Write the number of bags, rounded up."""
        if self.bags > MOST_OF_USE:
            return f"more than {MOST_OF_USE:,}"
        return f"{max(1, ceil(self.bags - 1e-9)):,}"


def effort_page(plan: Plan) -> EffortPage:
    """Work out a block's plans and put them in words."""
    needed = _needed(plan.wanted, plan.scale, plan.clumping)
    tried = _trials_words(plan.trials) if plan.trials.own else None
    return EffortPage(
        plan=plan,
        sentence=_sentence(plan, needed),
        clumping_words=_clumping_words(plan.clumping),
        recovery_words=_recovery_words(plan.scale),
        floor_words=_floor_words(plan.wanted, plan.scale),
        needed=needed,
        precision=precision_part(plan),
        trials_words=tried or _nothing_to_try(plan.subject),
        test=test_part(plan),
        presence=presence_part(plan),
    )


def _needed(wanted: Wanted, scale: Scale, clumping: Clumping) -> list[Needed]:
    labels: dict[float, list[str]] = {}
    for density, label in (
        (wanted.density, "expected"),
        (wanted.lower, "lower"),
        (wanted.upper, "upper"),
    ):
        if density:
            labels.setdefault(density, []).append(label)
    middle = wanted.density or wanted.upper or wanted.lower
    for factor in AROUND:
        if middle:
            labels.setdefault(float(f"{middle * factor:.2g}"), [])
    rows = []
    for density in sorted(labels):
        counted = scale.counted(density)
        bags = clumping.bags_for(counted, wanted.standard_error)
        label = ", ".join(labels[density])
        rows.append(Needed(label, density, counted, clumping.k_at(counted), bags))
    return rows


def _sentence(plan: Plan, needed: list[Needed]) -> str:
    subject, wanted = plan.subject, plan.wanted
    what = "half a 95 in 100 interval" if wanted.is_half_width else "a standard error"
    aim = f"{what} of {wanted.precision * 100:.3g} in 100 of the mean"
    at = next((one for one in needed if "expected" in one.label), None)
    if at is None:
        return (
            f"How many {subject.bags} it takes for {aim} depends on the density, which"
            " is not known yet: fill in what you expect."
        )
    return (
        f"About {at.bags_words} {subject.bags} of {subject.block_name} give"
        f" {subject.organism.name} with {aim}, at about {figure(at.density)} per"
        f" {subject.tissue}; told by {plan.clumping.source}."
    )


def _clumping_words(clumping: Clumping) -> str:
    if clumping.power_law:
        a, b = clumping.power_law
        return f"variance = {a:.3g} mean^{b:.3f}"
    if clumping.patchiness:
        alpha, beta = clumping.patchiness
        return f"mean crowding = {alpha:.3g} + {beta:.3f} mean"
    k = clumping.k or inf
    return f"k {figure(k)}" if isfinite(k) else "no clumping seen"


def _recovery_words(scale: Scale) -> str:
    if scale.recovery_low is None:
        return f"{scale.recovery_mean:.2f}, taken as known"
    spread = interval(scale.recovery_low, scale.recovery_high)
    return f"{scale.recovery_mean:.2f} ({spread})"


def _floor_words(wanted: Wanted, scale: Scale) -> str:
    if not scale.recovery_cv:
        return ""
    whole = scale.with_recovery(wanted.standard_error)
    return (
        f"What is not known of recovery adds {scale.recovery_cv * 100:.1f} in 100 to"
        " the standard error of every round, which no number of bags makes smaller:"
        f" {wanted.standard_error * 100:.1f} in 100 from the bags become"
        f" {whole * 100:.1f} in 100 in all."
    )


def _nothing_to_try(subject: Subject) -> str:
    return (
        f"No round with {subject.organism.name} on {several(subject.tissue)} has enough"
        " bags counted to try the plans on; until one has, they rest on formulas alone."
    )


def _trials_words(trials: Trials) -> str:
    number = len(trials.own)
    rounds = "1 round" if number == 1 else f"{number} rounds"
    runs = number * len(trials.own[0].draws)
    words = (
        f"Tried on {rounds} of {trials.of}: bags drawn again from those really counted,"
        f" with replacement, {runs:,} runs in all, seed {stated(trials.setting.seed)}."
    )
    if trials.scaled_up:
        words += (
            f" In {trials.scaled_up} of them a smaller share of some dishes was counted"
            " than is planned; these counts were scaled up, and look a little more"
            " clumped than they are."
        )
    return words

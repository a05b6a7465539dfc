"""What to pour together, in words."""

from dataclasses import dataclass

from monitoring.washing.dilution import (
    Dilution,
    Mixture,
    dilute,
    ethanol_mixture,
    needed_ml,
)

# Bottles that are sold (common practice), for comparison.
BOTTLES_PERCENT = (70.0, 91.0, 95.0, 99.0)
# From here on whole millilitres are fine enough for a measuring cylinder.
WHOLE_ML_FROM = 100.0
PERCENT = 100.0
LEAST_SHOWN_PERCENT = 0.05


@dataclass(frozen=True, slots=True)
class Poured:
    """Volumes as they are written: rounded, and still adding up."""

    alcohol: str
    water: str
    both: str


@dataclass(frozen=True, slots=True)
class ReagentsPage:
    """The mix asked for, what it comes to, and the same from other bottles."""

    sentence: str
    parts: str
    contraction: str
    spare: str
    dilution: Dilution
    others: list[tuple[str, Poured]]


def reagents_page(
    *,
    bags: int,
    volume_ml: float,
    spare_percent: float,
    bottle_percent: float,
    wanted_percent: float,
) -> ReagentsPage:
    """Work out the mix; raises DilutionError for a wish that cannot be mixed."""
    both = needed_ml(bags=bags, volume_ml=volume_ml, spare_percent=spare_percent)
    dilution = dilute(
        both, bottle_percent=bottle_percent, wanted_percent=wanted_percent
    )
    mixture = ethanol_mixture(dilution)
    ml = poured(dilution)
    spare = f" with {spare_percent:g} percent spare" if spare_percent else ""
    named = "1 bag" if bags == 1 else f"{bags:,} bags"
    return ReagentsPage(
        sentence=f"Pour {ml.alcohol} of the {bottle_percent:g} percent alcohol and"
        f" {ml.water} of water: {ml.both} of {wanted_percent:g} percent, for {named} of"
        f" {volume_ml:g} ml{spare}.",
        parts=_parts(dilution),
        contraction=_contraction(dilution, mixture),
        spare=_spare(bags * volume_ml, mixture),
        dilution=dilution,
        others=[
            (
                f"{percent:g}",
                poured(
                    dilute(both, bottle_percent=percent, wanted_percent=wanted_percent)
                ),
            )
            for percent in BOTTLES_PERCENT
            if percent >= wanted_percent and percent != bottle_percent
        ],
    )


def poured(dilution: Dilution) -> Poured:
    """Round the volumes so that the two written make the sum written."""
    digits = 0 if dilution.volume_ml >= WHOLE_ML_FROM else 1
    both = round(dilution.volume_ml, digits)
    alcohol = round(dilution.alcohol_ml, digits)
    return Poured(
        *(f"{value:,.{digits}f} ml" for value in (alcohol, both - alcohol, both))
    )


def _parts(dilution: Dilution) -> str:
    if dilution.water_ml <= 0:
        return "No water: the bottle is as strong as it is wanted."
    return f"That is 1 part of the bottle to {dilution.water_parts:.3g} of water."


def _contraction(dilution: Dilution, mixture: Mixture) -> str:
    less = PERCENT * (1 - mixture.volume_ml / dilution.volume_ml)
    filled = f"{less:.1f} percent less than the two together"
    # Weak alcohol with water even swells, by less than anyone measures.
    if less < LEAST_SHOWN_PERCENT:
        filled = "as good as the sum of the two"
    return (
        f"Ethanol at 20 °C: the mix fills {mixture.volume_ml:,.0f} ml, {filled}, and so"
        f" comes to {mixture.percent:.1f} percent instead of"
        f" {dilution.wanted_percent:g}."
    )


def _spare(asked_ml: float, mixture: Mixture) -> str:
    if mixture.volume_ml >= asked_ml:
        return ""
    return (
        f"The bags take {asked_ml:,.0f} ml: mix with a little more spare, or the last"
        " bag gets less."
    )

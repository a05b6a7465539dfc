"""Mix alcohol with water by volume, from a bottle's strength to a weaker one.

Strengths are percent by volume. What is worked out is C1 V1 = C2 V2, with water up to
the wanted volume (common practice). A mix of alcohol and water fills a little less than
the two together; for ethanol at 20 °C the published formula says how much less.
"""

from dataclasses import dataclass
from typing import Final

from blocks.errors import SiteError

WEAKEST_PERCENT, PURE_PERCENT = 1.0, 100.0
MOST_BAGS = 10_000
# Halvings of the range of strengths: finer than any table.
HALVINGS = 60
# Density at 20 °C by mass fraction, kg/m3, as a polynomial from the constant up.
# Source: Council Directive 76/766/EEC, annex, coefficients A1 to A12: the formula of
# the international alcoholometric tables (OIML R 22), whose other terms are 0 at 20 °C.
DENSITY_AT_20_C: Final = (
    9.982012300e2,
    -1.929769495e2,
    3.891238958e2,
    -1.668103923e3,
    1.352215441e4,
    -8.829278388e4,
    3.062874042e5,
    -6.138381234e5,
    7.470172998e5,
    -5.478461354e5,
    2.234460334e5,
    -3.903285426e4,
)


class DilutionError(SiteError):
    """A wish that no mixing can fulfil; `field` is the question it belongs to."""

    code = "cannot-be-mixed"
    status = 422

    def __init__(self, sentence: str, field: str) -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Dilution:
    """What to pour together, in ml; `volume_ml` is the sum of the two."""

    bottle_percent: float
    wanted_percent: float
    alcohol_ml: float
    water_ml: float

    @property
    def volume_ml(self) -> float:
        """Both together, before they contract."""
        return self.alcohol_ml + self.water_ml

    @property
    def water_parts(self) -> float:
        """Parts of water to one part of what is in the bottle."""
        return self.water_ml / self.alcohol_ml


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """What a mix of ethanol and water comes to at 20 °C: its volume and strength."""

    volume_ml: float
    percent: float


def needed_ml(*, bags: int, volume_ml: float, spare_percent: float) -> float:
    """Give the volume to mix for so many bags.

    bags: 1 to 10,000. volume_ml: in each bag, above 0. spare_percent: 0 or more.
    Raises DilutionError for anything else. Source: arithmetic.
    """
    if not 1 <= bags <= MOST_BAGS:
        raise DilutionError(f"Give 1 to {MOST_BAGS:,} bags.", "bags")
    if not volume_ml > 0:
        raise DilutionError("A bag takes more than 0 ml.", "volume_ml")
    if not spare_percent >= 0:
        raise DilutionError("The spare is 0 percent or more.", "spare_percent")
    return bags * volume_ml * (1 + spare_percent / 100)


def dilute(
    volume_ml: float, *, bottle_percent: float, wanted_percent: float
) -> Dilution:
    """Say how much of the bottle and of water make a volume of the wanted strength.

    volume_ml: above 0. Strengths: percent by volume, 1 to 100.
    Raises DilutionError where the wish is stronger than the bottle, or no strength.
    Source: C1 V1 = C2 V2, by volume (common practice).
    """
    if not WEAKEST_PERCENT <= bottle_percent <= PURE_PERCENT:
        raise DilutionError("A bottle holds 1 to 100 percent.", "bottle_percent")
    if not wanted_percent >= WEAKEST_PERCENT:
        raise DilutionError("Ask for 1 percent or more.", "wanted_percent")
    if wanted_percent > bottle_percent:
        raise DilutionError(
            f"Water only makes alcohol weaker: {wanted_percent:g} percent cannot be"
            f" mixed from a bottle of {bottle_percent:g} percent. Take a stronger"
            " bottle, or ask for a weaker mix.",
            "wanted_percent",
        )
    # Of the bottle's own strength exactly the whole: a ratio of 1 leaves no crumb.
    alcohol_ml = volume_ml * (wanted_percent / bottle_percent)
    return Dilution(
        bottle_percent=bottle_percent,
        wanted_percent=wanted_percent,
        alcohol_ml=alcohol_ml,
        water_ml=volume_ml - alcohol_ml,
    )


def ethanol_mixture(dilution: Dilution) -> Mixture:
    """Give what a dilution comes to if the alcohol is ethanol, at 20 °C.

    Source: the density formula of OIML R 22, as in Council Directive 76/766/EEC; mass
    is kept in mixing, volume is not.
    """
    fraction = _mass_fraction(dilution.bottle_percent)
    bottle_mass = dilution.alcohol_ml * _density(fraction)
    mass = bottle_mass + dilution.water_ml * _density(0.0)
    mixed = bottle_mass * fraction / mass
    return Mixture(volume_ml=mass / _density(mixed), percent=_percent(mixed))


def _density(mass_fraction: float) -> float:
    value = 0.0
    for coefficient in reversed(DENSITY_AT_20_C):
        value = value * mass_fraction + coefficient
    return value


def _percent(mass_fraction: float) -> float:
    """Give percent by volume from the fraction by mass."""
    return 100 * mass_fraction * _density(mass_fraction) / _density(1.0)


def _mass_fraction(percent: float) -> float:
    """Give the fraction by mass from percent by volume, which rises with it."""
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if _percent(middle) < percent:
            low = middle
        else:
            high = middle
    return (low + high) / 2

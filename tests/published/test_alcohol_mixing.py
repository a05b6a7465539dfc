"""Mixing ethanol and water beside published figures.

Densities at 20 °C: the international alcoholometric tables (OIML R 22; the formula of
Council Directive 76/766/EEC, read), rounded to the five digits of handbooks.
"""

import pytest

from monitoring.washing.dilution import Dilution, dilute, ethanol_mixture


def mixed(bottle: float, alcohol_ml: float, water_ml: float) -> Dilution:
    whole = alcohol_ml + water_ml
    return dilute(
        whole, bottle_percent=bottle, wanted_percent=bottle * alcohol_ml / whole
    )


def test_equal_parts_of_ethanol_and_water_fill_less_and_are_stronger_than_half() -> (
    None
):
    # Wine glossary (wein.plus, "percentage by volume", read): 100 l and 100 l make
    # 192.75 l of 51.8 percent by volume.
    mix = ethanol_mixture(mixed(100, 100, 100))
    assert mix.volume_ml == pytest.approx(192.75, abs=0.25)
    assert mix.percent == pytest.approx(51.8, abs=0.05)


def test_equal_parts_in_a_school_cylinder() -> None:
    # chim.lu, "Alcools: mixture ethanol/water" (read): 50 ml and 50 ml make 96.26 ml.
    mix = ethanol_mixture(mixed(100, 50, 50))
    assert mix.volume_ml == pytest.approx(96.26, abs=0.25)


def test_alcohol_of_a_pharmacy_with_as_much_water_is_diluted_alcohol() -> None:
    # Diluted Alcohol NF: equal volumes of alcohol of 95 percent and of water are 97 of
    # a hundred, 49 percent by volume (worked in a pharmacy exercise, read).
    mix = ethanol_mixture(mixed(95, 50, 50))
    assert mix.volume_ml == pytest.approx(97, abs=0.5)
    assert mix.percent == pytest.approx(49, abs=0.5)


@pytest.mark.parametrize(
    ("percent_by_mass", "percent_by_volume", "kg_per_m3"),
    # OIML R 22, tables I and III at 20 °C, from memory of the handbook's rows, except
    # that densities agree with a table read (0.989, 0.945, 0.914, 0.867, 0.790 g/ml).
    [
        (5, 6.27, 989),
        (35, 41.9, 945),
        (50, 57.9, 914),
        (70, 76.9, 867),
        (100, 100, 789.24),
    ],
)
def test_masses_and_volumes_tell_the_same_strength(
    percent_by_mass: float, percent_by_volume: float, kg_per_m3: float
) -> None:
    """Weigh a litre of the strength by volume: its ethanol is the share by mass."""
    unmixed = Dilution(
        bottle_percent=percent_by_volume,
        wanted_percent=percent_by_volume,
        alcohol_ml=1000,
        water_ml=0,
    )
    assert ethanol_mixture(unmixed).percent == pytest.approx(percent_by_volume)
    ethanol_g = 10 * percent_by_volume * 0.78924
    assert ethanol_g / kg_per_m3 * 100 == pytest.approx(percent_by_mass, rel=0.005)


def test_the_wash_of_common_practice_hardly_contracts() -> None:
    # 1 part of 70 percent to 1 part of water (common practice): by the formula above
    # 1.4 percent less, and half a percent stronger.
    mix = ethanol_mixture(mixed(70, 350, 350))
    assert mix.volume_ml == pytest.approx(690.5, abs=0.1)
    assert mix.percent == pytest.approx(35.48, abs=0.01)

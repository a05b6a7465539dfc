"""How much alcohol and water: numbers, what is refused, and what always holds."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.pages.reagents_page import reagents_page
from monitoring.washing.dilution import (
    DilutionError,
    dilute,
    ethanol_mixture,
    needed_ml,
)

PERCENT = st.floats(1, 100)
VOLUME_ML = st.floats(1, 500_000)


@pytest.mark.parametrize(
    ("bottle", "wanted", "bags", "each_ml", "spare", "alcohol_ml", "water_ml"),
    # By hand from C1 V1 = C2 V2.
    [
        (70, 35, 14, 50, 0, 350, 350),
        (70, 35, 14, 50, 10, 385, 385),
        (95, 35, 20, 47.5, 0, 350, 600),
        (100, 50, 1, 45, 0, 22.5, 22.5),
        (99, 33, 10, 45, 20, 180, 360),
        (70, 70, 3, 50, 0, 150, 0),
        (50, 35, 10_000, 50, 0, 350_000, 150_000),
    ],
)
def test_volumes_by_hand(
    bottle: float,
    wanted: float,
    bags: int,
    each_ml: float,
    spare: float,
    alcohol_ml: float,
    water_ml: float,
) -> None:
    whole = needed_ml(bags=bags, volume_ml=each_ml, spare_percent=spare)
    mix = dilute(whole, bottle_percent=bottle, wanted_percent=wanted)
    assert mix.alcohol_ml == pytest.approx(alcohol_ml)
    assert mix.water_ml == pytest.approx(water_ml)


@given(volume_ml=VOLUME_ML, bottle=PERCENT, share=st.floats(0, 1))
def test_alcohol_is_neither_lost_nor_made(
    volume_ml: float, bottle: float, share: float
) -> None:
    wanted = max(1.0, bottle * share)
    mix = dilute(volume_ml, bottle_percent=bottle, wanted_percent=wanted)
    assert mix.alcohol_ml >= 0
    assert mix.water_ml >= 0
    assert mix.volume_ml == pytest.approx(volume_ml)
    assert mix.alcohol_ml * bottle == pytest.approx(volume_ml * wanted)


@given(volume_ml=VOLUME_ML, bottle=PERCENT, share=st.floats(0.02, 1))
def test_mixing_keeps_the_ethanol_and_moves_the_volume_little(
    volume_ml: float, bottle: float, share: float
) -> None:
    wanted = max(1.0, bottle * share)
    mix = dilute(volume_ml, bottle_percent=bottle, wanted_percent=wanted)
    real = ethanol_mixture(mix)
    # Mixes contract; thinned a lot, they swell by up to 1.5 in a thousand.
    assert 0.96 * volume_ml <= real.volume_ml <= 1.002 * volume_ml
    assert real.volume_ml * real.percent == pytest.approx(mix.alcohol_ml * bottle)


@given(
    bags=st.integers(1, 10_000),
    volume_ml=st.floats(1, 5_000),
    spare=st.floats(0, 200),
    bottle=PERCENT,
    share=st.floats(0, 1),
)
def test_the_volumes_written_add_up(
    bags: int, volume_ml: float, spare: float, bottle: float, share: float
) -> None:
    page = reagents_page(
        bags=bags,
        volume_ml=volume_ml,
        spare_percent=spare,
        bottle_percent=bottle,
        wanted_percent=max(1.0, bottle * share),
    )
    said = re.findall(r"([0-9,.]+) ml", page.sentence.split(", for ")[0])
    # “350 ml of the …”, “350 ml of water”, “700 ml of …”
    pour, water, both = (float(one.replace(",", "")) for one in said)
    assert pour + water == pytest.approx(both)
    assert pour >= 0
    assert water >= 0


@given(bottle=st.floats(1, 99), more=st.floats(0.001, 1))
def test_water_makes_nothing_stronger(bottle: float, more: float) -> None:
    with pytest.raises(DilutionError, match="Water only makes alcohol weaker") as no:
        dilute(100, bottle_percent=bottle, wanted_percent=bottle + more)
    assert no.value.field == "wanted_percent"


@pytest.mark.parametrize(
    ("bottle", "wanted", "field"),
    [
        (0, 35, "bottle_percent"),
        (101, 35, "bottle_percent"),
        (float("nan"), 35, "bottle_percent"),
        (70, 0, "wanted_percent"),
        (70, float("nan"), "wanted_percent"),
    ],
)
def test_what_is_no_strength_is_refused(
    bottle: float, wanted: float, field: str
) -> None:
    with pytest.raises(DilutionError) as no:
        dilute(100, bottle_percent=bottle, wanted_percent=wanted)
    assert no.value.field == field


@pytest.mark.parametrize(
    ("bags", "volume_ml", "spare", "field"),
    [
        (0, 50, 10, "bags"),
        (10_001, 50, 10, "bags"),
        (1, 0, 10, "volume_ml"),
        (1, float("nan"), 10, "volume_ml"),
        (1, 50, -1, "spare_percent"),
    ],
)
def test_what_is_no_volume_is_refused(
    bags: int, volume_ml: float, spare: float, field: str
) -> None:
    with pytest.raises(DilutionError) as no:
        needed_ml(bags=bags, volume_ml=volume_ml, spare_percent=spare)
    assert no.value.field == field

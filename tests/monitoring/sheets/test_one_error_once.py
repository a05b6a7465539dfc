"""One mistake is told once."""

import pytest

from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


def test_an_unknown_dish_is_told_once_a_row(desk: Desk) -> None:
    row = bag_row(dish="soup bowl", rust_mites=3, predatory_mites=1, thrips=0)
    sheet = desk.upload(bag_sheet(row))
    assert desk.codes(sheet) == ["unknown-dish"]

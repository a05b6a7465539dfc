"""What the trade's own figures come to when they are put together.

153 degree-days until 70 % of the rust mites' winter females are out: a Korean vineyard
model (abstract read, authors not seen). Thresholds 10.51 and 39.19 C: Walton et al.
2010, ESA abstract (read). The day's figure: R package degday, R 4.2.2.
"""

import pytest

from monitoring.estimation import HeatRule, degree_days, sum_degree_days

LOWER_C, UPPER_C = 10.51, 39.19


def test_t15_01_days_until_153_degree_days() -> None:
    daily = degree_days([6], [18], lower_c=LOWER_C, upper_c=UPPER_C)
    assert daily == pytest.approx([2.7140577], abs=1e-5)
    rule = HeatRule(lower_c=LOWER_C, upper_c=UPPER_C)
    found = sum_degree_days([6] * 100, [18] * 100, rule=rule)
    assert found.days_until(153) == 57
    assert found.days_until(1000) is None

"""Check characters by Damm's scheme, over any totally anti-symmetric quasigroup.

Source: H. M. Damm, Total anti-symmetrische Quasigruppen, dissertation, Marburg 2004:
every single wrong character and every swap of two neighbours is noticed.
"""

from collections.abc import Iterable, Sequence
from functools import reduce

# x^4 + x + 1, by which products in the field of 16 elements are reduced.
REDUCING = 0b10011
SIZE = 16


def _twice(value: int) -> int:
    """Multiply an element of the field of 16 by its generator, x."""
    doubled = value << 1
    return doubled ^ REDUCING if doubled & SIZE else doubled


# a * b = x(a + b) in the field of 16: (c * a) * b = (c * b) * a only where a = b, since
# x and x + 1 are not nought; and a * a = 0, so the check character is what is left.
SIXTEEN = tuple(tuple(_twice(a ^ b) for b in range(SIZE)) for a in range(SIZE))


def left_over(values: Iterable[int], table: Sequence[Sequence[int]] = SIXTEEN) -> int:
    """Run values through the quasigroup; the check value, or 0 if one is included."""
    return reduce(lambda left, value: table[left][value], values, 0)

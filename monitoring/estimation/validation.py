"""Check what comes into the core, once, at its edge."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
Places: TypeAlias = NDArray[np.intp]
Numbers: TypeAlias = (
    Sequence[float] | Sequence[int] | NDArray[np.float64] | NDArray[np.int64]
)


class EstimationError(ValueError):
    """A precondition that does not hold; `argument` names which."""

    def __init__(self, argument: str, sentence: str) -> None:
        super().__init__(f"{argument}: {sentence}")
        self.argument = argument
        self.sentence = sentence


def as_floats(argument: str, values: Numbers | float) -> FloatArray:
    """Give an array of numbers; or EstimationError for what is none."""
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise EstimationError(argument, "must hold numbers only") from error


def numbers(argument: str, values: Numbers | float) -> FloatArray:
    """Give a 1-D array of finite numbers, at least one; or EstimationError."""
    array = np.atleast_1d(as_floats(argument, values))
    if array.ndim != 1 or array.size == 0:
        raise EstimationError(argument, "must be a list of one or more numbers")
    if not np.isfinite(array).all():
        raise EstimationError(argument, "must hold finite numbers only")
    return array


def whole_counts(argument: str, values: Numbers) -> FloatArray:
    """Give counts of animals: whole and not negative; or EstimationError."""
    array = numbers(argument, values)
    if (array < 0).any() or (array != np.floor(array)).any():
        raise EstimationError(argument, "must hold whole numbers of animals, 0 or more")
    return array


def one_after_another(
    argument: str, lists: Sequence[Numbers | float]
) -> tuple[FloatArray, Places]:
    """Put lists of numbers in a row, and give their sizes; or EstimationError.

    Lists by the thousand are looked at together: looking at each costs more than what
    is computed from it.
    """
    arrays = [as_floats(argument, values) for values in lists]
    if any(array.ndim != 1 or array.size == 0 for array in arrays):
        raise EstimationError(argument, "must be a list of one or more numbers")
    row = np.concatenate(arrays)
    if not np.isfinite(row).all():
        raise EstimationError(argument, "must hold finite numbers only")
    return row, np.array([array.size for array in arrays], dtype=np.intp)


def each_bag(
    argument: str, lists: Sequence[Numbers | float], sizes: Places
) -> FloatArray:
    """Give one number for each bag of rounds, repeating single ones; in a row."""
    arrays = [np.atleast_1d(as_floats(argument, values)) for values in lists]
    row, given = one_after_another(argument, arrays)
    single = given == 1
    wrong = np.flatnonzero(~single & (given != sizes))
    if wrong.size:
        at = wrong[0]
        raise EstimationError(
            argument, f"has {given[at]} entries where {sizes[at]} fit"
        )
    return np.repeat(
        row, np.where(single, sizes, 1)[np.repeat(np.arange(given.size), given)]
    )


def proportion(argument: str, value: float, *, may_be_one: bool = False) -> float:
    """Give a number in (0, 1), or (0, 1] where 1 is allowed; or EstimationError."""
    inside = 0 < value < 1 or (may_be_one and value == 1)
    if not inside:
        raise EstimationError(argument, f"{value!r} is not a proportion above 0")
    return float(value)


def positive(argument: str, value: float) -> float:
    """Give a finite number above 0; or EstimationError."""
    if not (np.isfinite(value) and value > 0):
        raise EstimationError(argument, f"{value!r} is not a number above 0")
    return float(value)


def two_samples(
    numerator: Numbers, denominator: Numbers, *, paired: bool, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Give two samples whose means are set against each other; or EstimationError."""
    top, bottom = numbers("numerator", numerator), numbers("denominator", denominator)
    proportion("confidence", confidence)
    if top.size < 2 or bottom.size < 2:
        raise EstimationError("numerator", "needs two values or more, as the other")
    if paired and top.size != bottom.size:
        raise EstimationError("denominator", "must be as long as the numerator")
    return top, bottom

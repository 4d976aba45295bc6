"""How sure it is how the tags of one part sit, and what they tell of each other.

The errors of two tags' places on a part hang together: a side tag that was learned beside the
chest's has all of the chest's own error in it. So one covariance is kept for all of a part's
tags. It is what a Kalman filter keeps of a state that stands still (R. E. Kalman, J Basic Eng 82,
1960), the part's own small rotation in each picture being taken out again afterwards.

A tag's error is a small rotation in the part's axes: true mount = exp(error) x known mount.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Variance in radians squared of what nothing is known of.
UNKNOWN_RAD2: Final = 1e3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """What tags seen at once tell of their part and of how they sit."""

    turned: FloatArray  #: (3,) the part's rotation beyond where it was thought to be
    spread: FloatArray  #: (3, 3) its covariance, the mounts' errors in it
    mounts: dict[int, FloatArray]  #: by number the error (3,) found of each mount
    left: FloatArray  #: (3n, 3n) covariance of the mounts' errors when those are put right


class Ties:
    """The covariance of the errors of some tags' mounts, radians squared."""

    def __init__(self, spreads: Mapping[int, FloatArray] | None = None) -> None:
        """Begin with tags whose errors (3, 3) do not hang together."""
        self.numbers: list[int] = []
        self._spread: FloatArray = np.zeros((0, 0))
        for number, spread in (spreads or {}).items():
            self.add(number, spread)

    def add(self, number: int, spread: FloatArray) -> None:
        """Take in a tag, or take it anew, with an error of its own."""
        self.drop(number)
        size = len(self._spread)
        wider = np.zeros((size + 3, size + 3))
        wider[:size, :size] = self._spread
        wider[size:, size:] = spread
        self._spread = wider
        self.numbers.append(number)

    def drop(self, number: int) -> None:
        """Forget a tag, if it is known."""
        if number in self.numbers:
            keep = np.repeat([own != number for own in self.numbers], 3)
            self._spread = self._spread[np.ix_(keep, keep)]
            self.numbers.remove(number)

    def of(self, number: int) -> FloatArray:
        """Return the covariance (3, 3) of one tag's error."""
        rows = self._rows(number)
        block: FloatArray = self._spread[rows, rows]
        return block

    def between(self, one: int, other: int) -> FloatArray:
        """Return the covariance (3, 3) of how one tag's error differs from another's."""
        a, b = self._rows(one), self._rows(other)
        cross = self._spread[a, b]
        apart: FloatArray = self._spread[a, a] + self._spread[b, b] - cross - cross.T
        return apart

    def turned(self, rotation: FloatArray) -> None:
        """Count all errors in other axes: ``rotation`` (3, 3) leads from the old to the new."""
        whole = np.kron(np.eye(len(self.numbers)), rotation)
        self._spread = whole @ self._spread @ whole.T

    def rezeroed(self, fresh: Mapping[int, FloatArray], by: int) -> None:
        """Take errors (3, 3) anew for tags of a new setup; the others hang on to ``by``'s.

        What was known of the others beside ``by`` stays, and its new error is all of theirs.
        """
        old = {n: (self.between(n, by)) for n in self.numbers if n not in fresh}
        rest = list(old)
        numbers = [*fresh, *rest]
        spread = np.zeros((3 * len(numbers), 3 * len(numbers)))
        where = {n: slice(3 * k, 3 * k + 3) for k, n in enumerate(numbers)}
        for number, own in fresh.items():
            spread[where[number], where[number]] = own
        for number in rest:
            row = where[number]
            spread[row, where[by]] = spread[where[by], row] = fresh[by]
            for other in rest:
                spread[row, where[other]] = fresh[by]
            spread[row, row] = fresh[by] + old[number]
        self.numbers, self._spread = numbers, spread

    def told(
        self,
        said: Sequence[tuple[int, FloatArray, FloatArray]],
        guess: FloatArray | None = None,
    ) -> Told:
        """Return what tags seen at once tell: of their part, and of how they sit.

        ``said`` is for each tag its number, by how much the part has turned from where it is
        thought to be if the tag sits as known (3,), and the covariance (3, 3) of that without the
        mount's error. ``guess`` (3, 3) is the covariance of where the part is thought to be;
        None: nothing is known but what the tags say.

        Nothing is taken over: see :meth:`keep`.
        """
        size = len(self._spread)
        whole = np.zeros((size + 3, size + 3))
        whole[:3, :3] = np.eye(3) * UNKNOWN_RAD2 if guess is None else guess
        whole[3:, 3:] = self._spread
        sees = np.zeros((3 * len(said), size + 3))
        noise, values = np.zeros((3 * len(said), 3 * len(said))), np.zeros(3 * len(said))
        for k, (number, value, spread) in enumerate(said):
            rows = slice(3 * k, 3 * k + 3)
            sees[rows, :3] = np.eye(3)
            own = self._rows(number)
            sees[rows, own.start + 3 : own.stop + 3] = np.eye(3)
            noise[rows, rows], values[rows] = spread, value
        gain = np.linalg.solve(sees @ whole @ sees.T + noise, sees @ whole).T
        found = gain @ values
        keeps = np.eye(size + 3) - gain @ sees
        # Joseph's form: it stays a covariance whatever is rounded.
        left = keeps @ whole @ keeps.T + gain @ noise @ gain.T
        mounts = {n: found[3 + 3 * k : 6 + 3 * k] for k, n in enumerate(self.numbers)}
        left = (left + left.T) / 2
        return Told(turned=found[:3], spread=left[:3, :3], mounts=mounts, left=left[3:, 3:])

    def keep(self, told: Told) -> None:
        """Take over what was found of the mounts; their rotations are the caller's."""
        self._spread = told.left

    def _rows(self, number: int) -> slice:
        start = 3 * self.numbers.index(number)
        return slice(start, start + 3)

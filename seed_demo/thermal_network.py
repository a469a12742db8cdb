"""Heat between lumps: linear networks stepped exactly with the matrix exponential."""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]

_TAYLOR_TERMS: Final = 18
_TAYLOR_REACH: Final = 0.5


@dataclass(frozen=True)
class TwoMasses:
    """Part with its joints (1) and board (2): heat capacities in J/K, conductances in W/K.

    `g12` joins the two; `g1` and `g2` are all that each loses to what surrounds it.
    """

    c1_j_per_k: float
    c2_j_per_k: float
    g12_w_per_k: float
    g1_w_per_k: float
    g2_w_per_k: float

    def compute_rates(self) -> Array:
        """Return A of dT/dt = A·T in 1/s, T being the excess over the surroundings in K."""
        return np.array(
            [
                [
                    -(self.g12_w_per_k + self.g1_w_per_k) / self.c1_j_per_k,
                    self.g12_w_per_k / self.c1_j_per_k,
                ],
                [
                    self.g12_w_per_k / self.c2_j_per_k,
                    -(self.g12_w_per_k + self.g2_w_per_k) / self.c2_j_per_k,
                ],
            ]
        )


def compute_exponential(matrix: Array) -> Array:
    """Compute the exponential of a square matrix, by scaling, a Taylor series and squaring.

    Relative error below 1e-12 for the small, well-conditioned matrices of this module.
    """
    norm = float(np.abs(matrix).sum(axis=1).max())
    squarings = max(0, int(np.ceil(np.log2(norm / _TAYLOR_REACH)))) if norm > 0 else 0
    scaled = matrix / 2**squarings
    term = np.eye(len(matrix))
    total = term.copy()
    for order in range(1, _TAYLOR_TERMS + 1):
        term = term @ scaled / order
        total += term
    for _ in range(squarings):
        total = total @ total
    return total


def step(state: Array, *, rates: Array, drive: Array, time_s: float) -> Array:
    """Compute the state after `time_s` of dx/dt = rates·x + drive, both constant; exact."""
    size = len(state)
    augmented = np.zeros((size + 1, size + 1))
    augmented[:size, :size] = rates * time_s
    augmented[:size, size] = drive * time_s
    moved: Array = compute_exponential(augmented)[:size] @ np.append(state, 1.0)
    return moved

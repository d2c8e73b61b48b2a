"""Scrambled Sobol points in few dimensions, the same numbers as those of scipy.stats.qmc, which takes long to start.

Directions of Joe and Kuo (2008), SIAM Journal on Scientific Computing 30, 2635-2654, table new-joe-kuo-6; scrambled by
a random lower triangular matrix and a shift (Matousek 1998, Journal of Complexity 14, 527-556).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bits = NDArray[np.uint32]
BITS = 30
DIRECTIONS: tuple[tuple[int, ...], ...] = (  # from the second dimension on: the polynomial as bits, then m1, m2, ...
    *(
        (3, 1),
        (7, 1, 3),
        (11, 1, 3, 1),
        (13, 1, 1, 1),
        (19, 1, 1, 3, 3),
        (25, 1, 3, 5, 13),
        (37, 1, 1, 5, 5, 17),
    ),
    *(
        (41, 1, 1, 5, 5, 5),
        (47, 1, 1, 7, 11, 19),
        (55, 1, 1, 5, 1, 1),
        (59, 1, 1, 1, 3, 11),
        (61, 1, 3, 5, 5, 31),
    ),
    *(
        (67, 1, 3, 3, 9, 7, 49),
        (91, 1, 1, 1, 15, 21, 21),
        (97, 1, 3, 1, 13, 27, 49),
        (103, 1, 1, 1, 15, 7, 5),
    ),
    *(
        (109, 1, 3, 1, 15, 13, 25),
        (115, 1, 1, 5, 5, 19, 61),
        (131, 1, 3, 7, 11, 23, 15, 103),
    ),
    *(
        (137, 1, 3, 7, 13, 13, 15, 69),
        (143, 1, 1, 3, 13, 7, 35, 63),
        (145, 1, 3, 5, 9, 1, 25, 53),
    ),
    *(
        (157, 1, 3, 1, 13, 9, 35, 107),
        (167, 1, 3, 1, 5, 27, 61, 31),
        (171, 1, 1, 5, 11, 19, 41, 61),
    ),
    *(
        (185, 1, 3, 5, 3, 3, 13, 69),
        (191, 1, 1, 7, 13, 1, 19, 1),
        (193, 1, 3, 7, 5, 13, 19, 59),
    ),
    *(
        (203, 1, 1, 3, 9, 25, 29, 41),
        (211, 1, 3, 5, 13, 23, 1, 55),
        (213, 1, 3, 7, 3, 13, 59, 17),
    ),
    *(
        (229, 1, 3, 1, 3, 5, 53, 69),
        (239, 1, 1, 5, 5, 23, 33, 13),
        (241, 1, 1, 7, 7, 1, 61, 123),
    ),
    *(
        (247, 1, 1, 7, 9, 13, 61, 49),
        (253, 1, 3, 3, 5, 3, 55, 33),
        (285, 1, 3, 1, 15, 31, 13, 49, 245),
    ),
    *(
        (299, 1, 3, 5, 15, 31, 59, 63, 97),
        (301, 1, 3, 1, 11, 11, 11, 77, 249),
    ),
)
MOST = len(DIRECTIONS) + 1


def scrambled(dimensions: int, power: int, seed: int) -> NDArray[np.float64]:
    """The first 2**power points (2**power, dimensions) in [0, 1), in the order of the Gray code.

    Dimensions up to `MOST`.
    """
    rng = np.random.default_rng(seed)
    weights = 2 ** np.arange(BITS, dtype=np.uint32)
    points = np.dot(rng.integers(2, size=(dimensions, BITS), dtype=np.uint32), weights)[:, None]
    lower = np.tril(rng.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32)) | np.eye(BITS, dtype=np.uint32)
    for column in _mixed(lower, _directions(dimensions))[:, :power].T:
        points = np.hstack([points, points[:, ::-1] ^ column[:, None]])
    return np.ascontiguousarray(points.T) * 2.0**-BITS


def _directions(dimensions: int) -> Bits:
    """Direction numbers (dimensions, BITS), the highest bit first."""
    found = np.ones((dimensions, BITS), dtype=np.uint32)
    for row, (polynomial, *first) in zip(found[1:], DIRECTIONS, strict=False):
        degree = len(first)
        row[:degree] = first
        for j in range(degree, BITS):
            row[j] = row[j - degree]
            for k in range(1, degree + 1):
                if polynomial >> (degree - k) & 1:
                    row[j] ^= row[j - k] << k
    return found << np.arange(BITS - 1, -1, -1, dtype=np.uint32)


def _mixed(lower: Bits, directions: Bits) -> Bits:
    """Directions multiplied by lower triangular matrices (dimensions, BITS, BITS) in arithmetic of single bits."""
    high_first = np.arange(BITS - 1, -1, -1, dtype=np.uint32)
    bits = directions[:, None, :] >> high_first[:, None] & 1  # (dimensions, bit, direction)
    turned = np.matmul(lower, bits) & 1
    return np.asarray((turned << high_first[:, None]).sum(axis=1, dtype=np.uint32))

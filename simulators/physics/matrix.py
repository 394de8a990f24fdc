"""Small dense matrices in plain Python: the exponential that makes a linear plant exact on a fixed step.

Plain Python because a linear-algebra library rounds differently on another processor, and the same
seed must give the same bytes everywhere.
"""

from __future__ import annotations

Matrix = list[list[float]]

TAYLOR_TERMS = 14


def product(left: Matrix, right: Matrix) -> Matrix:
    """Matrix product."""
    columns = list(zip(*right, strict=True))
    return [[sum(a * b for a, b in zip(row, column, strict=True)) for column in columns] for row in left]


def exponential(matrix: Matrix) -> Matrix:
    """exp(matrix) by scaling, a Taylor polynomial and repeated squaring."""
    norm = max(sum(abs(value) for value in row) for row in matrix)
    squarings = 0
    while norm > 0.5:
        norm, squarings = norm / 2.0, squarings + 1
    scaled = [[value / 2.0**squarings for value in row] for row in matrix]
    result = _taylor(scaled)
    for _ in range(squarings):
        result = product(result, result)
    return result


def _taylor(matrix: Matrix) -> Matrix:
    """1 + M(1 + M/2 (1 + M/3 (...))), the innermost bracket first."""
    size = len(matrix)
    result = _identity(size)
    for order in range(TAYLOR_TERMS, 0, -1):
        result = product(matrix, result)
        result = [[value / order + (i == j) for j, value in enumerate(row)] for i, row in enumerate(result)]
    return result


def _identity(size: int) -> Matrix:
    return [[float(i == j) for j in range(size)] for i in range(size)]


def held_input_step(system: Matrix, inputs: Matrix, step_s: float) -> Matrix:
    """Rows of [Phi Gamma] for x' = system x + inputs u with u held over `step_s` seconds."""
    states, count = len(system), len(inputs[0])
    augmented = [[step_s * v for v in [*row, *into]] for row, into in zip(system, inputs, strict=True)] + [
        [0.0] * (states + count) for _ in range(count)
    ]
    return exponential(augmented)[:states]


def ramped_input_step(system: Matrix, inputs: list[float], step_s: float) -> Matrix:
    """Rows of [Phi Gamma0 Gamma1] for one input that runs from u0 linearly to u1 within the step.

    x(next) = Phi x + Gamma0 u0 + Gamma1 (u1 - u0), the first-order hold.
    """
    size = len(system)
    augmented = [[step_s * v for v in [*row, into, 0.0]] for row, into in zip(system, inputs, strict=True)]
    augmented += [[0.0] * (size + 1) + [1.0], [0.0] * (size + 2)]
    return exponential(augmented)[:size]

"""What can go wrong in the calculations.

FittingError                 every message is a sentence for the person at the bench
├── OutsideRange             asked beyond the range the numbers hold in; there is no extrapolation
├── NotSolvable              too few points, or points that do not determine the equation
└── BadReadings              a file of readings cannot be used; the message names row and column
"""

from __future__ import annotations


class FittingError(ValueError):
    """Root of the tree; the message says what is wrong and what to do."""


class OutsideRange(FittingError):
    """A temperature or a resistance outside the range in which the result holds."""


class NotSolvable(FittingError):
    """The points given do not determine the equation asked for."""


class BadReadings(FittingError):
    """A file of readings cannot be used."""

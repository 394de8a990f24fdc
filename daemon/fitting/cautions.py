"""Sentences that belong beside a result because no test on the numbers can replace them."""

from __future__ import annotations

# A loss proportional to the excess over ambient looks like a slightly different thermometer: the
# coefficients absorb it and the residuals stay as small as before.
STEM_LOSS = (
    "Heat lost along the stem bends every point the same way and is absorbed by the coefficients: neither "
    "the residuals nor chi-squared can show it. Only an immersion profile or a term in the budget covers it."
)
REFERENCE_ERROR = (
    "An error of the reference thermometer that is smooth in temperature is taken over by the result and "
    "does not show in the residuals; it is covered only by the reference's own term in the budget."
)
LATER_DRIFT = "The uncertainty stated does not include the thermometer's drift after this calibration."
NO_TEST = "Solved exactly through the points: no residuals, no test."
ONE_DEGREE_OF_FREEDOM = (
    "Only one degree of freedom is left: the test of the residuals is weak. Two points more than "
    "coefficients are advisable (common practice, no source)."
)

ALWAYS = (STEM_LOSS, REFERENCE_ERROR, LATER_DRIFT)

"""An invented world with known truth, down to raw observations; written apart from the estimator.

Nothing here uses the estimator's geometry, delays, tides, antennas or interpolation: whoever finds
the true motion back has not found his own mistake.
"""

"""
How are counts pooled, and how sure is what they say?

Beta-binomial pooling, modes with their curvature, and distributions from stated ranges; nothing
here knows of boats.
"""

from spreadnet.evidence.statistics.intervals import (
    beta_from_moments,
    beta_from_range,
    beta_interval,
    even_draws,
    spread_over_range,
)
from spreadnet.evidence.statistics.laplace import FEW, FIXED_SEED, Mode, find_mode, without_bias
from spreadnet.evidence.statistics.pooling import (
    LEAST,
    START_EFFECT,
    Pooled,
    beta_binomial_mle,
    design_effect,
    fit_pooled,
)
from spreadnet.evidence.statistics.slope import poisson_slope

__all__ = [
    "FEW",
    "FIXED_SEED",
    "LEAST",
    "START_EFFECT",
    "Mode",
    "Pooled",
    "beta_binomial_mle",
    "beta_from_moments",
    "beta_from_range",
    "beta_interval",
    "design_effect",
    "even_draws",
    "find_mode",
    "fit_pooled",
    "poisson_slope",
    "spread_over_range",
    "without_bias",
]

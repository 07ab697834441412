"""The normal distribution's quantile that intervals are made with."""

from functools import lru_cache


@lru_cache(maxsize=64)
def two_sided_z(confidence: float) -> float:
    """Give the z between minus and plus which a standard normal value lies with this probability.

    Args:
        confidence: above 0 and below 1.

    Returns:
        The quantile of (1 + confidence) / 2.

    Raises:
        statistics.StatisticsError: confidence outside of that.

    Source:
        Definition; the quantile itself is the standard library's.

    >>> round(two_sided_z(0.95), 6)
    1.959964
    """
    from statistics import NormalDist  # late: it brings fractions and random numbers along

    return NormalDist().inv_cdf((1 + confidence) / 2)

"""Numbers that follow from definitions and are used all over."""

from __future__ import annotations

import math

DB_PER_NEPER = 20.0 / math.log(10.0)
Z95 = 1.6448536269514722
"""Standard normal quantile of 95 %: 90 % lie within so many standard deviations."""
HALF_WIDTH_95 = 1.959963984540054
"""95 % lie within so many standard deviations."""
Z99 = 2.3263478740408408
"""Standard normal quantile of 99 %."""

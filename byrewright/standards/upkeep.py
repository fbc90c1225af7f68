"""What service intervals rest on before a plant's own experience."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("upkeep.worn_at_interval", 0.10, "", "share of parts worn out when their service "
          "interval is over, before this plant's own record says otherwise", "practice",
          "common_practice", "typical", 0.05, 0.2),
    Value("upkeep.interval_factor", 2.0, "", "a plant's own interval lies within this factor of "
          "the usual one, either way, nine times of ten", "practice", "common_practice", "typical",
          1.5, 4.0),
    Value("upkeep.wear_shape", 2.0, "", "Weibull shape of parts that wear", "practice",
          "common_practice", "typical", 1.2, 3.5),
)  # fmt: skip
"""byrewright's own starting figures, to be replaced by what is found."""

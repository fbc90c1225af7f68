"""The milking day, cow by cow and second by second, of a plant as it is installed."""

from byrewright.studies.day.compare import compare
from byrewright.studies.day.study import run_day

__all__ = ["compare", "run_day"]

"""The vacuum system as a network: steady, in time, and what the test instruments will read."""

from byrewright.studies.vacuum.balance import balance_svg
from byrewright.studies.vacuum.operating import OperatingMap, operating_map
from byrewright.studies.vacuum.steady import NotSolved
from byrewright.studies.vacuum.study import study_vacuum

__all__ = ["NotSolved", "OperatingMap", "balance_svg", "operating_map", "study_vacuum"]

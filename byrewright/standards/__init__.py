"""Every limit, table and trade rule as data, each with its source and how it is known.

Imports nothing else of byrewright. Use `default_rulebook()` for numbers and the theme modules
(`cooling`, `pipes`, `electrical`, ...) for tables.
"""

from byrewright.standards.model import Confidence, Source, UnknownRule, Value
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.standards.units import UnitError, convert, parse_quantity

__all__ = [
    "Confidence",
    "Rulebook",
    "Source",
    "UnitError",
    "UnknownRule",
    "Value",
    "convert",
    "default_rulebook",
    "parse_quantity",
]

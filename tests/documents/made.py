"""A small result made by hand, with every verdict and every part of its shape."""

from __future__ import annotations

from byrewright.results import Assumption, Finding, Input, Result, Series, Table

HOSTILE = '=HYPERLINK("x") #panic("no") $x$ <b> \\ @cmd *bold* _it_'
"""Text a plant file could hold that would be a formula, markup or code in a careless document."""


def made_result(words: str = "plain") -> Result:
    """Findings of two topics, a table, a series and an assumption; `words` goes into the text."""
    holds = Finding(
        "vacuum.capacity", "VP1", "Vacuum pump capacity", 6200.0, "L/min", f"Enough: {words}.",
        "holds", "at_least", 5000.0, 0.24, 0.05, "q = a + b n",
        (Input("n", "units", 60.0, "", "practice (common_practice)"),), "iso5707", "from_memory",
    )  # fmt: skip
    tight = Finding(
        "vacuum.drop", "L1", "Main airline", 2.9, "kPa", "Just inside.", "tight", "at_most", 3.0,
        0.033, 0.05, source="iso5707", confidence="from_memory",
    )  # fmt: skip
    fails = Finding(
        "cooling.tank", "TK1", "Tank volume", 9000.0, "L", words, "fails", "at_least", 12000.0,
        -0.25,
    )  # fmt: skip
    unknown = Finding(
        "cooling.table", "", "Units in a slope", None, "", "Not known.", "unknown", "at_least",
        3.0, missing=("the table",),
    )  # fmt: skip
    says = Finding("cooling.milk", "", "Milk a day", 18000.0, "L", "Much milk.", "holds")
    rows = ((0.0, 0.0), (5.0, 9000.0))
    level = ("content", "L", (0.0, 9000.0, 0.0, 8000.0))
    return Result(
        study="sizing",
        plant="(invented) test farm",
        findings=(holds, tight, fails, unknown, says),
        tables=(Table("cooling.fill", "Filling", ("time", "content"), ("h", "L"), rows, words),),
        series=(Series("cooling.level", "Tank content", (0.0, 5.0, 9.0, 24.0), "h", (level,)),),
        assumptions=(Assumption("site", words, 4.0, "degC", "usual"),),
        seed=7,
        notes=(words,),
    )

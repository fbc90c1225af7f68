"""Does the plan have what people asked of single machines and pipes?"""

from __future__ import annotations

from byrewright.place.obeyed import not_obeyed
from byrewright.plant.sited import Sited
from byrewright.studies.sizing.context import StudyContext

NAMED = 8
"""Tags named in the sentence."""


def obeyed(ctx: StudyContext, made: Sited) -> None:
    """What a person decided, and whether the plan has it: told only where somebody decided."""
    things, lines = made.plan.scene.things.values(), made.plan.scene.lines
    if not any(t.spot.room for t in things) and not any(p.along or p.by for p in lines):
        return
    lacks = not_obeyed(made.plan, made.routes)
    ctx.find(
        "place.obeyed", "What was decided and could not be done", float(len(lacks)), "",
        f"{', '.join(f'{tag} {words}' for tag, words in lacks[:NAMED])}." if lacks
        else "Every room, rack and way point that the file gives is kept to.",
        limit=0.0, sense="at_most", formula="what `room`, `along` and `by` ask, one by one",
        source="definition", confidence="derived",
    )  # fmt: skip

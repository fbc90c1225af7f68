"""Finding a machine or pipe: by its tag, or out of a list beside the drawing."""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.documents.shapes import Layout
from byrewright.documents.sheets import pipe_sheets
from byrewright.plant.plant import Plant
from byrewright.web.markup import Html, tag
from byrewright.web.texts import Texts


def find_field(plant: Plant, t: Texts) -> Html:
    """A search field that knows every tag."""
    tags = [*plant.equipment, *(p.id for p in plant.pipes)]
    box = tag(
        "input", type="search", id="find", list="tags", data_change="find", autocomplete="off",
        spellcheck="false", maxlength=40,
    )  # fmt: skip
    known = tag("datalist", [tag("option", value=one) for one in tags], id="tags")
    return tag("div", tag("label", t("plant.find"), for_="find"), box, known, cls="field find")


def machine_list(plant: Plant, laid: Layout, t: Texts) -> Html:
    """The machines of a sheet as a list, for fingers."""
    here = list(dict.fromkeys(p.machine for p in laid.placed if p.machine in plant.equipment))
    rows = [
        tag(
            "button", tag("b", m), " ", plant.equipment[m].title, type="button", cls="plain",
            data_act="pick", data_value=f"machine {m}", id=f"list-{m}",
        )
        for m in here
    ]  # fmt: skip
    head = tag("summary", t("plant.machines", count=len(rows)))
    return tag("details", head, tag("div", rows, cls="in many"), id="machines", cls="no-print")


def found_by(plant: Plant, typed: str) -> str:
    """What a typed tag means (`machine VP1`, `pipe L101`); "" where it means nothing."""
    every = {m.upper(): f"machine {m}" for m in plant.equipment}
    every |= {p.id.upper(): f"pipe {p.id}" for p in plant.pipes}
    return every.get(typed.strip().upper(), "")


def sheet_of_pick(plant: Plant, pick: str, have: Sequence[str], now: str) -> str:
    """The sheet that shows a machine or pipe; the present one where it does."""
    home = pipe_sheets(plant)
    kind, _, name = pick.partition(" ")
    pipes = [name] if kind == "pipe" else [p.id for p in plant.pipes_at(name)]
    shown = [home[p] for p in pipes if home.get(p) in have]
    if now in shown or not (shown or "power" in have):
        return now
    return shown[0] if shown else "power"

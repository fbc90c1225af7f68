"""A whole plant put down on a sheet, area by area."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from byrewright.drafting import cold, deck, milk, milk_lines, modes, services, wash
from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Choices, Sheet
from byrewright.plant.place import Place
from byrewright.plant.plant import Pipe, Plant


def lay_out(
    want: Intent, sizes: Choices, lengths: Mapping[str, Pipe] | None = None
) -> tuple[Plant, Sheet]:
    """The plant of an intent with the sizes chosen so far, and the sheet with its reasons.

    Args:
        lengths: pipes of an earlier layout, whose lengths, rises, bends and ways are taken over
            where they join the same ends; without, lengths are guessed. `sited.laid_out` lays
            the pipes.
    """
    sheet = Sheet(sizes, want.site.region)
    deck.deck(sheet, want)
    deck.vacuum(sheet, want)
    milk.machines(sheet, want)
    cold.cooling(sheet, want)
    deck.vacuum_lines(sheet, want)
    milk_lines.lines(sheet, want)
    milk_lines.storage(sheet, want)
    cold.water(sheet, want)
    wash.washing(sheet, want)
    services.compressed_air(sheet, want)
    services.power(sheet, want)
    services.laundry(sheet, want)
    services.proofs(sheet, want)
    modes.all_modes(sheet, want)
    sheet.retwin()
    sheet.size_pipes()
    stated: dict[str, Any] = {
        name: part
        for name, part in (
            ("work", want.work),
            ("cleaning", want.cleaning),
            ("wishes", want.wishes),
        )
        if part.model_fields_set
    }
    place = Place(services="under" if want.rotary else "over")
    gone: list[str] = []
    pipes = tuple(sheet.pipes)
    if want.decided is not None:
        place, gone = want.decided.place_for(want.layout, sheet.equipment, place)
        pipes = tuple(want.decided.of(p) for p in pipes)
    if gone:
        sheet.comments["place.machines"] = f"no longer there, so left out: {', '.join(gone)}"
    plant = Plant(
        byrewright=1,
        site=want.site,
        herd=want.herd,
        milkings=want.milkings,
        collections=want.collections,
        equipment=sheet.equipment,
        pipes=pipes,
        modes=sheet.modes,
        place=place,
        **stated,
    )
    return _taken_over(plant.held_to(want.rules), lengths or {}), sheet


def _taken_over(plant: Plant, lengths: Mapping[str, Pipe]) -> Plant:
    """The plant with lengths of an earlier layout."""
    pipes = tuple(
        pipe.laid(old.length_m, old.rise_m, old.fittings.get("bend", 0), old.profile)
        if (old := lengths.get(pipe.id)) is not None
        and (old.start, old.end) == (pipe.start, pipe.end)
        else pipe
        for pipe in plant.pipes
    )
    fresh = plant.model_copy(update={"pipes": pipes})
    fresh.__pydantic_fields_set__.intersection_update(plant.model_fields_set)
    return fresh

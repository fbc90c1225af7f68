"""The parts for a visit: what each service takes, times how many machines there are."""

from __future__ import annotations

from byrewright.plant.plant import Plant
from byrewright.results import Table
from byrewright.site.upkeep.due import Visit, date_of


def kit_of(plant: Plant, visit: Visit | None) -> Table:
    """The parts to bring to a visit, by part and kind."""
    count: dict[tuple[str, str], int] = {}
    tags: dict[tuple[str, str], list[str]] = {}
    bare = 0
    for window in visit.does if visit is not None else ():
        machine = plant.equipment[window.task.machine]
        asked = next(u for u in machine.upkeep() if u.what == window.task.what)
        bare += not asked.parts
        for part in asked.parts:
            key = (part.name, type(machine).TITLE)
            count[key] = count.get(key, 0) + part.each * machine.count
            here = machine.id + (f" ({machine.count})" if machine.count > 1 else "")
            if here not in tags.setdefault(key, []):
                tags[key].append(here)
    when = "none is planned" if visit is None else date_of(visit.day)
    return Table(
        "service.kit", f"Parts for the next visit, {when}", ("part", "of", "number", "for"),
        ("",) * 4,
        tuple((name, of, count[name, of], ", ".join(tags[name, of])) for name, of in sorted(count)),
        f"{bare} of its services take no part." if bare else "",
    )  # fmt: skip

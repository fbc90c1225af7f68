"""Two days side by side: two plants, or two settings of one."""

from __future__ import annotations

from byrewright.results import Finding, Result, Table


def compare(a: Result, b: Result, names: tuple[str, str] = ("A", "B")) -> Result:
    """Both results as one: findings of each beside each other and what changed between them.

    Args:
        names: how the two are called in the tables.
    """
    theirs = {f.name: f for f in b.findings}
    rows: list[tuple[float | str, ...]] = []
    for mine in a.findings:
        other = theirs.pop(mine.name, None)
        rows.append(_row(mine, other))
    rows += [_row(other, None, swapped=True) for other in theirs.values()]
    table = Table(
        "day.compare", f"{names[0]} beside {names[1]}",
        ("finding", "of", "unit", names[0], names[1], "difference", f"{names[0]} is",
         f"{names[1]} is"),
        ("",) * 8, tuple(rows),
    )  # fmt: skip
    uses = _uses(a, b, names)
    notes = tuple(f"{names[0]}: {n}" for n in a.notes) + tuple(f"{names[1]}: {n}" for n in b.notes)
    return Result(
        "day", f"{a.plant} / {b.plant}", tables=(table, *uses), seed=a.seed, notes=notes,
        assumptions=tuple(dict.fromkeys((*a.assumptions, *b.assumptions))),
    )  # fmt: skip


def _row(a: Finding, b: Finding | None, *, swapped: bool = False) -> tuple[float | str, ...]:
    left: float | str = "" if a.value is None else round(a.value, 4)
    right: float | str = "" if b is None or b.value is None else round(b.value, 4)
    gap: float | str = ""
    if b is not None and a.value is not None and b.value is not None:
        gap = round(b.value - a.value, 4)
    verdicts: tuple[str, str] = (a.verdict, b.verdict if b is not None else "not there")
    if swapped:
        left, right, verdicts = right, left, (verdicts[1], verdicts[0])
    return (a.title, a.subject, a.unit, left, right, gap, *verdicts)


def _uses(a: Result, b: Result, names: tuple[str, str]) -> tuple[Table, ...]:
    try:
        one = {str(r[0]): r[2] for r in a.table("day.uses").rows}
        two = {str(r[0]): r[2] for r in b.table("day.uses").rows}
    except KeyError:
        return ()
    rows = tuple((use, one.get(use, 0.0), two.get(use, 0.0)) for use in sorted({*one, *two}))
    return (Table("day.compare_uses", "Electricity for milk by use", ("use", *names),
                  ("", "kWh/1000 L", "kWh/1000 L"), rows),)  # fmt: skip

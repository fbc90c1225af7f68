"""Modes: what each valve and pump does while milking, draining, rinsing, washing, collecting."""

from __future__ import annotations

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet


def _where(sheet: Sheet, **positions: str) -> dict[str, str]:
    """Only the machines that are on the sheet."""
    return {m: p for m, p in positions.items() if m in sheet.equipment}


def _at_rest(sheet: Sheet) -> dict[str, str]:
    """Every valve's position at rest, written out: no valve is left to a default."""
    found = {}
    for machine in sheet.equipment.values():
        usual = machine.usual() if machine.can("is a valve") else None
        if usual is not None:
            found[machine.id] = usual
    return found


def _pumps(sheet: Sheet, want: Intent, *ids: str) -> dict[str, str]:
    """The first of a pair runs, its partner as the farm wishes."""
    out = {}
    for place, machine in enumerate(ids):
        if machine in sheet.equipment:
            out[machine] = "runs" if place == 0 else want.partner
    return out


def _into(want: Intent, tank: int | None) -> dict[str, str]:
    """Diverts, leak drains and the coupling's shut-off when what is in the delivery line goes to a
    tank, or the tanker."""
    found = {"V49": "open" if tank is None else "closed"} if want.direct else {}
    for place in want.fills:
        here = place.tank == tank
        found[place.divert] = "to_b" if here else "to_c"
        found[place.bleed] = "closed" if here else "open"
    return found


def all_modes(sheet: Sheet, want: Intent) -> None:
    """Every mode of the plant; each later one says only what differs from the one it is like."""
    cold = dict.fromkeys(("IB1", "CH1", "CU1", "CU2", "CU3"), "runs") | dict.fromkeys(
        ("IB2", "CH2"), want.partner
    )
    chilling = {**cold, **_pumps(sheet, want, "LP21", "LP22")}
    sheet.mode(
        "idle",
        "idle",
        why="no milk flows; stored milk is kept cold; fill line leaks to the floor",
        **(_at_rest(sheet) | _where(sheet, CT1="runs", **chilling)),
    )
    receivers = (
        {"MP1": "runs", "MP2": "runs"} if want.receivers == 2 else _pumps(sheet, want, "MP1", "MP2")
    )
    air = _pumps(sheet, want, "VP1", "VP2")
    if want.vacuum_together:
        air = dict.fromkeys(air, "runs")
    milking: dict[str, str] = {
        "MU1": "milks",
        "PU1": "runs",
        "PF1": "runs",
        "YG1": "runs",
        "DU1": "runs",
        "V40": "to_b",
        "V46": "closed",
        "V71": "open",
        **air,
        **receivers,
        **_pumps(sheet, want, "MP3", "MP4"),
        **_pumps(sheet, want, "LP1", "LP2"),
        **dict.fromkeys(want.wait_in_milking, "stopped"),
    }
    first = "milking_tank_1"
    together = "; the vacuum pumps share, so that the cups stay on when one trips"
    waits = "; heaters and laundry wait for the supply"
    sheet.mode(
        first,
        "milking",
        like="idle",
        why="milk to tank 1"
        + (together if want.vacuum_together else "")
        + (waits if want.wait_in_milking else ""),
        **_where(sheet, **milking, V41="open", TK1="fills"),
    )
    _elsewhere(sheet, want, first)
    _washing(sheet, want)
    for n in range(1, want.tanks + 1):
        _emptied(sheet, n)
    if want.tanks > 1:
        sheet.mode(
            "milking_tank_1_wash_tank_2",
            ("milking", "tank_wash"),
            like=first,
            why="milk to tank 1, tank 2 washed",
            **_where(sheet, LP5="runs", V60="open", DS1="runs", V52="open", V56="to_c",
                     V68="open", TK2="is washed"),
        )  # fmt: skip
        sheet.mode(
            "milking_tank_2_collect_tank_1",
            ("milking", "collection"),
            like="milking_tank_2",
            why="milk to tank 2, tank 1 collected",
            **_where(sheet, V51="open", V55="to_b", TK1="is emptied"),
        )


def _elsewhere(sheet: Sheet, want: Intent, first: str) -> None:
    """Milking to another tank, the tanker, the calves, the withheld-milk vessel."""
    stands = {"V41": "closed", "TK1": "stands"}
    for n in range(2, want.tanks + 1):
        fills = {f"V4{n}": "open", f"TK{n}": "fills"}
        sheet.mode(
            f"milking_tank_{n}",
            "milking",
            like=first,
            why=f"milk to tank {n}",
            **_where(sheet, **stands, **_into(want, n), **fills),
        )
    if want.direct:
        sheet.mode(
            "milking_direct",
            ("milking", "direct_load"),
            like=first,
            why="chilled milk straight to the tanker",
            **_where(sheet, **stands, **_into(want, None)),
        )
    if want.calf_l_day > 0:
        sheet.mode(
            "calf_draw",
            ("milking", "calf_draw"),
            like=first,
            why="milk to tank 1 and some to the calves",
            **_where(sheet, V38="open"),
        )
    if want.withheld:
        sheet.mode(
            "withheld_draw",
            ("milking", "withheld_draw"),
            like=first,
            why="marked cows into the withheld-milk vessel",
        )


def _emptied(sheet: Sheet, n: int) -> None:
    """A tank is collected, and washed."""
    outlet, away, wash, tank = f"V5{n}", f"V5{n + 4}", f"V6{n + 6}", f"TK{n}"
    sheet.mode(
        f"collect_tank_{n}",
        "collection",
        like="idle",
        why=f"tank {n} to the tanker",
        **_where(sheet, **{outlet: "open", away: "to_b", tank: "is emptied"}),
    )
    washed = {outlet: "open", away: "to_c", wash: "open", tank: "is washed"}
    sheet.mode(
        f"wash_tank_{n}",
        "tank_wash",
        like="idle",
        why=f"tank {n} washed to drain",
        **_where(sheet, LP5="runs", V60="open", DS1="runs", LP1="runs", **washed),
    )


def _washing(sheet: Sheet, want: Intent) -> None:
    receivers = (
        _pumps(sheet, want, "MP1", "MP2") if want.receivers == 1 else {"MP1": "runs", "MP2": "runs"}
    )
    wash: dict[str, str] = {
        "MU1": "washes",
        "PU1": "runs",
        "V40": "to_c",
        "V46": "open",
        "V64": "open",
        "LP4": "runs",
        "AI1": "pulses",
        "V66": "open",
        "V33": "open",
        "V34": "open",
        **_pumps(sheet, want, "VP1", "VP2"),
        **receivers,
        "MP3": "runs",
        "MP4": "runs",
        "V39": "open",
        "LP1": "runs",
    }
    # the first rinse is warm: hot water beside what comes back from the cooler
    first = {"V61": "open"} if want.rinse_fresh else {"V62": "open", "LP3": "runs"}
    first["V60"] = "open"
    not_first = {tag: {"open": "closed", "runs": "stopped"}[to] for tag, to in first.items()}
    why = " with fresh water: the cooler warms too little" if want.rinse_fresh else ""
    sheet.mode(
        "rinse",
        "rinse",
        like="idle",
        why=f"first rinse, warmed with hot water, once through to drain{why}",
        **_where(sheet, **wash, **first, V65="to_c"),
    )
    sheet.mode(
        "wash",
        "wash",
        like="rinse",
        why="hot wash, round and round",
        **_where(sheet, **(not_first | {"V60": "open"}), V65="to_b", DS1="runs"),
    )
    sheet.mode(
        "last_rinse",
        "rinse",
        like="rinse",
        why="clean water, once through to drain",
        **_where(sheet, **(not_first | {"V61": "open"})),
    )
    for n in range(1, want.tanks + 1):
        sheet.mode(
            f"wash_into_tank_{n}",
            ("wash", "tank_wash"),
            like="wash",
            why=f"hot wash through the fill stub into empty tank {n}, out at the low point of the "
            "collection line and its open coupling: tanker away, people clear",
            **_where(
                sheet,
                **_into(want, n),
                **{f"V5{m + 4}": "to_c" for m in range(1, want.tanks + 1) if m != n},
                **{f"V4{n}": "open", f"V5{n}": "open", f"TK{n}": "is washed"},
                V47="open",
            ),
        )
    if want.direct:
        sheet.mode(
            "wash_to_bay",
            "wash",
            like="wash",
            why="hot water and chemicals out of the open coupling: tanker away, people clear, hose "
            "to the drain",
            **_where(sheet, **_into(want, None)),
        )
    if want.calf_l_day > 0:
        sheet.mode(
            "wash_to_calf_vessel",
            "wash",
            like="wash",
            why="hot wash into the empty calf-milk vessel, out of its drain",
            **_where(sheet, V38="open", V37="open"),
        )
    drains = dict.fromkeys(
        ("V81", "V82", "V83", "V84", "V85", "V86", "V19", "V63", "V25", "V39", "V47"),
        "open",
    )
    sheet.mode(
        "drain_down",
        "drain_down",
        like="idle",
        why="every low point open after washing",
        **_where(
            sheet,
            **drains,
            **dict(want.in_drain_down),
            **{f"V5{n + 4}": "to_c" for n in range(1, want.tanks + 1)},
            V33="open",
            V34="open",
        ),
    )

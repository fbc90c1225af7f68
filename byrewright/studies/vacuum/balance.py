"""The capacity balance: what the air is used for, against what the pumps draw."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from byrewright.results import Result, Table
from byrewright.studies.vacuum.steady import Steady

PARTS: tuple[tuple[str, str], ...] = (
    ("pulsators", "pulsators"),
    ("claws", "claw admission"),
    ("teats", "past teats and liners"),
    ("milk_leak", "milk-system leakage"),
    ("system_leak", "vacuum-system leakage"),
    ("slug", "wash slugs"),
    ("jetters", "through the units in washing"),
    ("regulation", "regulator and its leakage"),
    ("reserve", "spare at the pumps"),
)
"""Parts of the bar, bottom first."""
KEY = "balance"


def balance_table(rows: Mapping[str, tuple[Steady, float]], rated_l_min: float) -> Table:
    """One bar a situation: air by use, regulator, and what the running pumps could draw more.

    `rows` gives for each title the steady state and what its pumps draw flat out at that vacuum.
    """
    made: list[tuple[float | str, ...]] = []
    for title, (state, flat_out) in rows.items():
        parts: dict[str, float] = {
            key: getattr(state.use, key) for key, _ in PARTS if hasattr(state.use, key)
        }
        parts["regulation"] = state.regulated_l_min_free
        drawn = state.pump_flow_l_min_free
        scale = (drawn - state.regulated_l_min_free) / max(1e-9, state.use.total)
        for key in parts:
            if key != "regulation":
                parts[key] *= scale
        parts["reserve"] = max(0.0, flat_out - drawn)
        made.append((title, *(round(parts.get(k, 0.0)) for k, _ in PARTS), round(flat_out)))
    return Table(
        KEY,
        "Capacity balance: free air by use against the pumps",
        ("situation", *(words for _, words in PARTS), "pumps running flat out"),
        ("", *("L/min" for _ in PARTS), "L/min"),
        tuple(made),
        f"All pumps together are rated {rated_l_min:.0f} L/min at 50 kPa and 100 kPa ambient.",
    )


_PATTERNS = (
    "",
    "M0 6L6 0",
    "M0 0L6 6",
    "M0 3H6",
    "M3 0V6",
    "M0 6L6 0M0 0L6 6",
    "M0 3H6M3 0V6",
    "M0 0H6",
    "",
)


def balance_svg(result: Result, width: int = 760) -> str:
    """The balance as a drawing: one stacked bar a situation, ink hatches, a mark at the pumps."""
    table = result.table(KEY)
    scale = max(float(row[-1]) for row in table.rows) or 1.0
    left, step, top = 190, 46, 14
    room = width - left - 70
    used = [i for i in range(len(PARTS)) if any(float(r[i + 1]) > 0 for r in table.rows)]
    height = top + step * len(table.rows) + 22 * ((len(used) + 1) // 2) + 12
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'font-family="sans-serif" font-size="12"><title>{escape(table.title)}</title><defs>'
    ]
    for i, path in enumerate(_PATTERNS):
        ground = "#fff" if PARTS[i][0] == "reserve" else "#eef0ee"
        out.append(
            f'<pattern id="b{i}" width="6" height="6" patternUnits="userSpaceOnUse">'
            f'<rect width="6" height="6" fill="{ground}"/>'
            f'<path d="{path}" stroke="#223" stroke-width="0.8"/></pattern>'
        )
    out.append("</defs>")
    for line, row in enumerate(table.rows):
        y = top + step * line
        out.append(
            f'<text x="{left - 8}" y="{y + 18}" text-anchor="end">{escape(str(row[0]))}</text>'
        )
        x = float(left)
        for i in used:
            value = float(row[i + 1])
            if value <= 0:
                continue
            w = value / scale * room
            out.append(
                f'<rect x="{x:.1f}" y="{y}" width="{w:.1f}" height="28" fill="url(#b{i})" '
                f'stroke="#223" stroke-width="0.8"><title>{escape(PARTS[i][1])}: {value:.0f} L/min'
                "</title></rect>"
            )
            x += w
        mark = left + float(row[-1]) / scale * room
        out.append(
            f'<path d="M{mark:.1f} {y - 5}V{y + 33}" stroke="#a33" stroke-width="2"/>'
            f'<text x="{mark + 5:.1f}" y="{y + 18}">{float(row[-1]):.0f}</text>'
        )
    base = top + step * len(table.rows) + 6
    for place, i in enumerate(used):
        x, y = left - 150 + 290 * (place % 2), base + 22 * (place // 2)
        out.append(
            f'<rect x="{x}" y="{y}" width="16" height="14" fill="url(#b{i})" stroke="#223" '
            f'stroke-width="0.8"/><text x="{x + 22}" y="{y + 12}">{escape(PARTS[i][1])}</text>'
        )
    out.append("</svg>")
    return "".join(out) + "\n"

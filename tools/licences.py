"""Writes docs/dependencies.md: every package that is installed, what for, and under what licence.

Run it in an environment with all packages (`make test` makes one), after `make pins`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "dependencies.md"
HEAVY_MB = 8
PARTS = (
    ("requirements", "Running byrewright"),
    ("requirements-opcua", "Extra: reading a controller over OPC UA (`make opcua`)"),
    ("requirements-ifc", "Extra: the plan as a building model, IFC 4 (`make ifc`)"),
    ("requirements-postgresql", "Extra: the site log in PostgreSQL (`make postgresql`)"),
    ("requirements-dev", "Checking byrewright only"),
    ("requirements-build", "Putting byrewright into its environment"),
)
FOR = {
    "alembic": "steps from each form of the log to the next",
    "argon2-cffi": "the hash of the pages' password",
    "asyncua": "OPC UA",
    "coolprop": "reference properties of fluids, in tests",
    "ezdxf": "drawings as DXF",
    "fluids": "a second opinion on flow, in tests",
    "fonttools": "comes with matplotlib",
    "ht": "a second opinion on heat exchangers, in tests",
    "ifcopenshell": "building models (IFC 4)",
    "icalendar": "the calendar of service visits",
    "llvmlite": "the compiler behind numba",
    "matplotlib": "curves in print and the sheet of the day",
    "networkx": "a second opinion on graphs, in tests",
    "nicegui": "the pages",
    "numba": "compiles the simulated day, the air and the liquid network",
    "numpy": "arrays of the engine",
    "openpyxl": "reads test sheets and instrument files",
    "pandas": "tables from Python",
    "pillow": "comes with matplotlib",
    "pint": "a second opinion on units, in tests",
    "playwright": "drives a browser in tests",
    "psycopg": "PostgreSQL",
    "pydantic": "the plant's fields and their ranges",
    "pymodbus": "Modbus TCP",
    "python-sat": "proofs of routes, sensor sets and orders",
    "rich": "tables and progress on a terminal",
    "pyyaml": "reads plant files, quickly",
    "ruamel-yaml": "reads plant files that pyyaml does not take, and says what is wrong",
    "scipy": "linear algebra that numba's kernels call, and solvers",
    "shapely": "comes with ifcopenshell",
    "simpy": "an independent day to compare with, in benchmarks",
    "sqlalchemy": "the site's log",
    "typer": "the command line",
    "typst": "the report as PDF",
    "uvloop": "comes with the pages' server",
    "coverage": "which test runs which line, for bench_mutation",
    "wntr": "a second opinion on water networks, in tests",
    "xlsxwriter": "the workbook",
}
"""What the packages that byrewright itself asks for, and the heavy ones, are for."""


def pinned(part: str) -> Iterator[str]:
    """The names pinned in a requirements file."""
    for line in (ROOT / f"{part}.txt").read_text(encoding="utf-8").splitlines():
        if found := re.match(r"([A-Za-z0-9._-]+)==", line):
            yield found[1].lower()


def licence(one: Distribution) -> str:
    """The licence a package states: as an expression, in a class, or in its own short words."""
    data = one.metadata
    stated = data.get("License-Expression")
    if stated:
        return str(stated)
    classes = [c.rpartition(" :: ")[2] for c in data.get_all("Classifier") or ()
               if c.startswith("License ::") and not c.endswith("OSI Approved")]  # fmt: skip
    if classes:
        return ", ".join(dict.fromkeys(classes))
    own = (data.get("License") or "").strip().splitlines()
    return own[0][:60] if own else "see the package"


def megabytes(one: Distribution) -> float:
    """What its files take on disk."""
    return sum((f.size or 0) for f in one.files or ()) / 1e6


def page() -> str:
    """The page as text."""
    out = [
        "# Packages that byrewright uses",
        "",
        "Written by `tools/licences.py` from the pinned requirements and what each package states",
        f"of itself. *Heavy* is what takes more than {HEAVY_MB} MB where it was installed for this",
        "page. A package of another system (marked so) was not looked at.",
        "",
    ]
    told: set[str] = set()
    for part, title in PARTS:
        names = [n for n in dict.fromkeys(pinned(part)) if n not in told]
        told |= set(names)
        out += [f"## {title}", "", "| package | licence | heavy, MB | for |", "|---|---|---|---|"]
        for name in names:
            try:
                one = distribution(name)
            except PackageNotFoundError:
                out.append(f"| {name} | not on this system | | {FOR.get(name, '')} |")
                continue
            size = megabytes(one)
            heavy = f"{size:.0f}" if size >= HEAVY_MB else ""
            out.append(f"| {name} | {licence(one)} | {heavy} | {FOR.get(name, '')} |")
        out.append("")
    return "\n".join(out).rstrip() + "\n"


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()

"""Commands from brief to pack: draft, check, size, explain, pack, demo, schema."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import (
    BAD_INPUT,
    MARK,
    NOT_HELD,
    STYLE,
    alike,
    clear_errors,
    console,
    held_to,
    load,
    print_counts,
    print_findings,
    system_of,
)
from byrewright.errors import ByrewrightError
from byrewright.results import FREE_SIGN, Result, worst_first

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.documents.format import System
    from byrewright.drafting.close import Change
    from byrewright.drafting.draft import Draft
    from byrewright.plant.plant import Plant
    from byrewright.plant.problems import Problem

MOST_ON_SCREEN = 6
"""Findings that do not hold shown on one screen; the rest are in the report."""
EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
DEMO_BRIEF = EXAMPLES / "rotary_spring_ice" / "brief.yaml"


@contextmanager
def progress(first: str) -> Iterator[Callable[[str, int, int], bool | None]]:
    """A progress bar on the error stream; what it yields takes (what, done, of how many)."""
    from rich.progress import Progress

    with Progress(console=console(error=True), transient=True, auto_refresh=False) as bar:
        task = bar.add_task(first, total=1.0)

        def say(what: str, done: int, total: int) -> bool | None:
            bar.update(task, description=what, completed=done, total=total, refresh=True)
            return None

        yield say


def draft(
    brief_path: Path, out_path: Path, *, overwrite: bool, quick: bool, units: str = "metric"
) -> None:
    """Write the plant file of a brief, with the reason behind every chosen number.

    It is held to every study and mended until they hold; `quick` sizes it alone.
    """
    from byrewright.documents.us_words import text_in
    from byrewright.drafting.cores import cores
    from byrewright.drafting.draft import draft_plant
    from byrewright.drafting.gives import closed_draft
    from byrewright.plant.brief import read_brief
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.plant_id import keeping
    from byrewright.plant.write import write_text

    with clear_errors():
        system = system_of(units)
        if out_path.exists() and not overwrite:
            print(
                f"{out_path} already exists; name another with --out, or add --overwrite",
                file=sys.stderr,
            )
            raise SystemExit(BAD_INPUT)
        brief = keeping(read_brief(brief_path), _replaced(out_path))
        rules = rules_beside(brief_path)
        if quick:
            result = draft_plant(brief, rules)
        else:
            with progress("drafting") as say:
                result = closed_draft(
                    brief, rules, say=lambda what, n, of: say(text_in(what, system), n, of),
                    many=cores(),
                )  # fmt: skip
        write_text(out_path, result.text)
        out = console()
        plant = result.plant
        out.print(
            f"Drafted {out_path} from {brief_path}: {len(plant.equipment)} machines, "
            f"{len(plant.pipes)} pipes, {len(plant.modes)} modes."
        )
        for one in result.assumptions:
            said = one.value if isinstance(one.value, str) else f"{one.value:g}"
            words = f"assumed {one.meaning}: {said} {one.unit}".rstrip() + f" ({one.why})"
            out.print(f"  {text_in(words, system)}")
        print_counts(out, result.sizing)
        if quick:
            out.print("Only sizing was run, not the day, vacuum, routes, failures and the plan.")
        else:
            _print_closing(out, result, system)
        out.print(f"Next: byrewright check {out_path}")
        out.print(f"      byrewright size {out_path}")
        out.print(f"      byrewright pack {out_path} --out pack")


def _in_us(change: Change, plant: Plant) -> str:
    """A figure of the plant file in US units, as it stands behind the file's own."""
    from byrewright.documents.format import key_unit, quantity
    from byrewright.documents.us_words import bore_said
    from byrewright.standards.units import US_UNITS

    owner = plant.equipment.get(change.of) or next(
        (p for p in plant.pipes if p.id == change.of), None
    )
    if owner is None or not isinstance(change.to, int | float) or isinstance(change.to, bool):
        return ""
    unit = key_unit(owner, change.figure)
    if unit not in US_UNITS:
        return ""
    if "bore" in change.figure:
        return f" ({bore_said(change.to)})"
    return f" ({quantity(change.to, unit, 'US')})"


def _print_closing(out: Console, result: Draft, units: System) -> None:
    """Whether every study holds; else what fails, and which wish would have to give."""
    from byrewright.documents.us_units import finding_in
    from byrewright.documents.us_words import text_in
    from byrewright.drafting.close import told_of

    days = sum(name.startswith("day") for name in result.held_by)
    plant = result.plant
    for line in told_of(result.changes, lambda c: _in_us(c, plant) if units == "US" else ""):
        out.print(f"  {text_in(line, units)}", highlight=False)
    if not result.open:
        out.print(
            f"No finding fails in sizing, {days} days, vacuum and its events, the plan, routes "
            "and single failures."
        )
        if result.unjudged:
            names = ", ".join(f.name for f in result.unjudged)
            out.print(f"{len(result.unjudged)} cannot be judged yet: {names}.", highlight=False)
        return
    fail = "1 finding fails" if len(result.open) == 1 else f"{len(result.open)} findings fail"
    out.print(f"The draft does not hold: {fail}.")
    for one in result.open[:MOST_ON_SCREEN]:
        out.print(f"  {finding_in(one, units).sentence}", highlight=False)
    if len(result.open) > MOST_ON_SCREEN:
        out.print(f"  and {len(result.open) - MOST_ON_SCREEN} more")
    if result.gives:
        out.print("What would have to give, each line by itself and proven by drafting again:")
        for words in result.gives:
            out.print(f"  {text_in(words, units)}", highlight=False)
    else:
        out.print("No single change to the brief was found that makes it hold.")


def check(path: Path) -> None:
    """Say whether the plant file is sound; one line for each thing that is not."""
    from byrewright.documents.ink import pale
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.problems import FileProblems, problem
    from byrewright.plant.read import read_plant

    with clear_errors():
        try:
            file = read_plant(path)
            rules_beside(path)
        except FileProblems as error:
            if error.unreadable:
                raise
            _tell(path, error.problems)
            raise SystemExit(NOT_HELD) from None
        plant = file.plant
        colours = [
            file.locate(problem("C040", key=f"colours.{name}"))
            for name in pale(plant.colours.stated())
        ]
        found = [*file.check(), *colours]
        if _tell(path, found):
            raise SystemExit(NOT_HELD)
        more = f"; {_things(len(found))} to look at" if found else ""
        print(
            f"{path}: sound; {len(plant.equipment)} machines, {len(plant.pipes)} pipes, "
            f"{len(plant.modes)} modes{more}"
        )


def _tell(path: Path, found: Sequence[Problem]) -> int:
    """Print what a check found; how many of it are errors."""
    errors = sum(1 for p in found if p.severity == "error")
    for one in found:
        print(one)
    if errors:
        rest = f", {_things(len(found) - errors)} to look at" if len(found) > errors else ""
        print(f"{path}: not sound; {'1 error' if errors == 1 else f'{errors} errors'}{rest}")
    return errors


def _things(count: int) -> str:
    return "nothing" if not count else "1 thing" if count == 1 else f"{count} things"


def size(
    path: Path,
    *,
    as_json: bool,
    strict: bool,
    every: bool,
    units: str = "metric",
    as_measured: bool = False,
) -> None:
    """Size the plant and print the findings, worst first."""
    from byrewright.documents.us_units import result_in
    from byrewright.site.condition.as_measured import as_measured as measured
    from byrewright.studies.sizing import size as size_plant

    with clear_errors():
        system = system_of(units)
        file, rules = load(path)
        plant, rules, listed = measured(path, file.plant, rules, wanted=as_measured)
        result = listed(size_plant(plant, rules))
        if as_json:
            sys.stdout.write(result.to_json())
        else:
            out = console()
            shown = worst_first(result.findings)
            wanted = shown if every else [f for f in shown if f.verdict != "holds"]
            print_findings(out, wanted, system)
            print_counts(out, result)
            for note in result_in(result, system).notes if as_measured else ():
                out.print(note)
            if not every:
                out.print(
                    "Add --all for those that hold; 'byrewright explain' shows the arithmetic."
                )
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def explain(path: Path, name: str, units: str = "metric") -> None:
    """Print how a finding was worked out."""
    import difflib

    from byrewright.documents.us_units import explained_in
    from byrewright.studies.sizing import size as size_plant

    with clear_errors():
        system = system_of(units)
        file, rules = load(path)
        result = size_plant(file.plant, rules)
        found = [f for f in result.findings if name in (f.name, f.key)]
        if not found:
            names = [f.name for f in result.findings]
            near = difflib.get_close_matches(name, names, n=3, cutoff=0.3) or names[:5]
            print(
                f"{path}: no finding is called {name}; nearest: {', '.join(near)}", file=sys.stderr
            )
            raise SystemExit(BAD_INPUT)
        parts = []
        for one, *others in alike(found):
            same = f"\nThe same for {', '.join(f.subject for f in others)}." if others else ""
            parts.append(explained_in(one, system).render() + same)
        print("\n\n".join(parts))


ENGINEER = "engineer"


def pack(
    path: Path,
    folder: Path,
    *,
    on: str | None,
    units: str = "metric",
    full: bool = False,
    whom: str = "all",
    revision: str = "A",
    approved: str = "",
    paper: str = "A4",
) -> None:
    """Write a short paper for each reader, and the engineer's file, beside a copy of the plant.

    The papers tell the sizing; with `full`, or for readers who are named, also the other studies
    that they need. Where the file has a `place`, the plan set goes with it.
    """
    from byrewright.documents.pack import write_pack
    from byrewright.documents.readers import READERS
    from byrewright.results import merge
    from byrewright.site.checks.measured import measured_of
    from byrewright.site.condition.ahead import beside
    from byrewright.site.condition.matrix import kept_at
    from byrewright.studies.every import STUDIES, ask

    with clear_errors():
        system, day = system_of(units), date_of(on)
        if paper.casefold() not in ("a4", "letter"):
            raise ByrewrightError(f"--paper {paper}: there is A4 and Letter")
        names = _readers(whom, (*READERS, ENGINEER))
        asked: tuple[str, ...] = ("sizing",)
        if full:
            asked = tuple(STUDIES)
        elif whom != "all":
            asked = tuple({s: None for n in names if n in READERS for s in READERS[n].needs})
        file, rules = load(path)
        out = console()
        calls = full and bool({ENGINEER, "milker"} & set(names))
        causes = beside(path, kept_at(file.plant, rules)) if calls else nullcontext()
        with progress("sizing") as say, causes:
            result = ask(file.plant, rules, asked or ("sizing",), say)
            measured = measured_of(path, file.plant, rules)
            if measured is not None:
                result = merge(result.study, result.plant, (result, measured))
            written = write_pack(
                folder,
                file.text,
                file.plant,
                result,
                date=day,
                revision=revision,
                rules=rules,
                progress=say,
                units=system,
                readers=[n for n in READERS if n in names],
                engineer=ENGINEER in names,
                approved=approved,
                paper=paper.casefold(),
            )
        for one in written:
            out.print(f"  {one}")
        print_counts(out, result)


def _readers(stated: str, known: Sequence[str]) -> list[str]:
    """The readers that `--for` names, or all.

    Raises:
        ByrewrightError: a name is no reader.
    """
    if stated == "all":
        return list(known)
    names = [n.strip().casefold() for n in stated.split(",") if n.strip()]
    wrong = [n for n in names if n not in known]
    if wrong or not names:
        raise ByrewrightError(
            f"--for {stated}: {wrong[0] if wrong else 'nobody'} is not a reader; there are "
            f"{', '.join(known)}"
        )
    return names


def _replaced(path: Path) -> Plant | None:
    """The plant of a file that is about to be replaced; None where it cannot be read."""
    from byrewright.plant.problems import PlantError
    from byrewright.plant.read import read_plant

    try:
        return read_plant(path).plant if path.exists() else None
    except PlantError:
        return None


def date_of(stated: str | None) -> str:
    """The date for the documents: as stated, or today's."""
    if stated is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(stated).isoformat()
    except ValueError:
        raise ByrewrightError(
            f"--date {stated}: not a date; write it as year-month-day, such as 2026-03-31"
        ) from None


def schema(what: str) -> None:
    """Print the JSON Schema of the plant file or of the brief, for editors."""
    import json

    from byrewright.plant import schema as schemas

    with clear_errors():
        if what not in ("plant", "brief"):
            raise ByrewrightError(f"{what}: there is a schema of the plant and of the brief")
        made = schemas.plant_schema() if what == "plant" else schemas.brief_schema()
        print(json.dumps(made, indent=1, sort_keys=True))


def _one_screen(out: Console, result: Result) -> None:
    """What does not hold in full sentences, then the most telling figures a line each."""
    from rich.padding import Padding

    from byrewright.studies.sizing import headlines

    open_ones = alike(f for f in worst_first(result.findings) if f.verdict != "holds")
    for one, *_ in open_ones[:MOST_ON_SCREEN]:
        style = STYLE[one.verdict]
        out.print(Padding(f"[{style}]{MARK[one.verdict]}[/] {one.sentence}", (0, 0, 0, 2)))
    if len(open_ones) > MOST_ON_SCREEN:
        out.print(f"  and {len(open_ones) - MOST_ON_SCREEN} more in the report")
    for one in headlines(result):
        if one.verdict == "holds":
            sign = MARK["holds"] if one.judged else FREE_SIGN
            out.print(f"  [{STYLE['holds']}]{sign}[/] {one.label:<52} {held_to(one)}")


SHOWN = (".pdf", ".xlsx", ".yaml")
"""Files of a pack that a person opens."""


def demo(folder: Path) -> None:
    """From the example brief of an invented farm to a pack, with a one-screen summary."""
    from byrewright.documents.pack import write_pack
    from byrewright.drafting.draft import draft_plant
    from byrewright.plant.brief import read_brief
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.read import read_plant_text
    from byrewright.studies.sizing import size as size_plant

    with clear_errors():
        with progress("drafting the plant of the brief") as say:
            drafted = draft_plant(read_brief(DEMO_BRIEF))
            plant_path = folder / "plant.yaml"
            rules = rules_beside(plant_path)
            file = read_plant_text(drafted.text, str(plant_path), rules)
            file.sound()
            advice = file.check()
            result = size_plant(file.plant, rules)
            written = write_pack(
                folder,
                drafted.text,
                file.plant,
                result,
                date=date.today().isoformat(),
                progress=say,
            )
        out, plant = console(), file.plant
        out.print(
            f"[bold]{plant.site.name}[/]: {plant.herd.cows} cows, "
            f"{len(plant.milkings)} milkings a day"
        )
        out.print(
            f"Brief {DEMO_BRIEF.relative_to(EXAMPLES.parent)} became {plant_path}: "
            f"{len(plant.equipment)} machines, {len(plant.pipes)} pipes, "
            f"{len(plant.modes)} modes; {_things(len(advice))} to look at in the file"
        )
        print_counts(out, result)
        _one_screen(out, result)
        out.print(
            f"Assumed where nothing was stated: {len(result.assumptions)} values, "
            "each listed in the report."
        )
        out.print(
            "The tool advises; it is not a safety system. Local codes and licensed people decide."
        )
        shown = [
            p.name for p in written if p.resolve().parent == folder.resolve() and p.suffix in SHOWN
        ]
        out.print(
            f"Look in {folder} at {', '.join(shown)}, and at the papers that index.txt lists."
        )

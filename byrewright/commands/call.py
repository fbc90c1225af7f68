"""The command `call`: a caller is led from what is seen to the next step; the page; records."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import clear_errors, console, load, system_of, user_name

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.site.callout.guide import Guide, Look, Place, Seen
    from byrewright.site.callout.record import Call
    from byrewright.site.log import Log

FEW = 6
HELP = "y: yes, n: no, ?: I cannot tell, q: end"


def run(
    path: Path, *, out: Path | None = None, files: Sequence[Path] = (), who: str | None = None,
    units: str = "metric",
) -> None:  # fmt: skip
    """Write the page, read records back, or lead a call at the prompt and enter it in the log."""
    from byrewright.documents.call_sheet import call_html, guide_in
    from byrewright.errors import ByrewrightError
    from byrewright.plant.write import write_bytes
    from byrewright.site.callout.guide import guide_of
    from byrewright.site.callout.record import head_of, read_calls, take
    from byrewright.site.checks.measured import owner_of
    from byrewright.site.log import log_of

    with clear_errors():
        system = system_of(units)
        file, rules = load(path)
        owner = owner_of(file.plant)
        if files:
            log = log_of(path, owner)
            try:
                for one in files:
                    told, calls = read_calls(one)
                    count = len(take(log, one.name, told, calls, owner))
                    print(f"{one}: {count} call{'' if count == 1 else 's'} entered")
            finally:
                log.close()
            return
        with console(error=True).status("working out what may be behind it"):
            try:
                guide = guide_of(file.plant, rules)
            except ValueError as error:
                raise ByrewrightError(f"{path}: {error}") from None
        if out is not None:
            made = date.today().isoformat()
            write_bytes(out, call_html(guide, head_of(owner), made=made, units=system).encode())
            print(f"  {out}")
            return
        call = Dialogue(console(), guide_in(guide, system), who or user_name()).lead()
        if call is not None:
            log = log_of(path, owner)
            try:
                _enter(log, call, owner.plant_id)
            finally:
                log.close()


def _enter(log: Log, call: Call, plant_id: str) -> None:
    from byrewright.site.callout.record import take

    take(log, "this call", {"plant_id": plant_id}, [call], log.owner)
    print(f"the call is kept in {log.name}")


@dataclass
class Dialogue:
    """One call at the prompt."""

    out: Console
    guide: Guide
    who: str
    asked: list[tuple[str, str, str]] = field(default_factory=list)
    tag: str = ""

    def lead(self) -> Call | None:
        """Lead the caller to the end; the record, or None where nothing was said."""
        from byrewright.site.alarms import new_uid
        from byrewright.site.callout.record import Call
        from byrewright.standards.cautions import LEAD

        at = time.time()
        self.out.print(LEAD, style="dim")
        seen = self._sight()
        if seen is None:
            return None
        outcome = self._looks(seen)
        remark = _line("Remark (Enter for none): ") or ""
        return Call(new_uid(), at, self.who, seen.sight.key, tuple(self.asked), self.tag, outcome,
                    remark)  # fmt: skip

    def _sight(self) -> Seen | None:
        self.out.print("\n[bold]What do you see?[/]")
        for number, one in enumerate(self.guide.seen, 1):
            self.out.print(f" {number:2}  {one.sight.words}", highlight=False)
        while (said := self._ask("Number: ")) is not None:
            if said.isdecimal() and 1 <= int(said) <= len(self.guide.seen):
                return self.guide.seen[int(said) - 1]
            self.out.print(f"Type a number from 1 to {len(self.guide.seen)}, or q.")
        return None

    def _looks(self, seen: Seen) -> str:
        """Thing after thing to look at; how the call ended."""
        sight = seen.sight
        self._steps("First", sight.first)
        if sight.call:
            self.out.print(f"[bold]Call[/] {sight.call}.")
        if sight.positions:
            self.out.print(f"\nWhere valves should be: {self.guide.mode.replace('_', ' ')}")
            for tag, title, stands in self.guide.positions:
                self.out.print(f"  {tag:6} {title}: {stands}", highlight=False)
        for candidate in seen.looks:
            look = self.guide.looks[candidate.look]
            place = self._which(look, candidate.tags)
            if place is None:
                return "open"
            if not place:
                continue
            outcome = self._mend(look, place[0])
            if outcome:
                return outcome
        if seen.looks:
            self.out.print("None of these. Call the service and read out your answers.")
            if seen.also:
                also = "; ".join(seen.also)
                self.out.print(f"Tell them that it may also be: {also}.", highlight=False)
        return self._ended((("c", "called"), ("g", "goes on")))

    def _which(self, look: Look, tags: Sequence[str]) -> list[Place] | None:
        """The place at which it is so; empty when it is not; None when the caller ended."""
        at = {p.tag: p for p in look.places if p.tag in tags}
        some = ", ".join(tags[:FEW]) + (f" and {len(tags) - FEW} more" if tags[FEW:] else "")
        self.out.print(f"\nLook at [bold]{some}[/] ({at[tags[0]].title}).", highlight=False)
        self.out.print(f"Is this what you see? {look.seen}", highlight=False)
        while (said := self._ask(f"({HELP}): ")) is not None:
            if said in ("n", "?"):
                self.asked.append((look.id, "", "no" if said == "n" else "cannot tell"))
                return []
            if said == "y":
                tag = tags[0] if len(tags) == 1 else self._tag(tags)
                if tag is None:
                    return None
                self.asked.append((look.id, tag, "yes"))
                return [at[tag]]
            self.out.print(f"Type {HELP}.")
        return None

    def _tag(self, tags: Sequence[str]) -> str | None:
        known = {t.casefold(): t for t in tags}
        while (said := self._ask(f"Which one? Type {_one_of(tags)}: ")) is not None:
            if said in known:
                return known[said]
        return None

    def _mend(self, look: Look, place: Place) -> str:
        """What is done there; how it ended, "" when it did not help."""
        if look.safety:
            self.out.print("[bold]Stop. Do not restart until it has been mended and tested.[/]")
        self._steps(f"At {place.tag}", (*place.acts, *look.do))
        self.out.print(f"[bold]Stop and call {look.who}[/] if {look.when}.", highlight=False)
        for caution in look.cautions:
            self.out.print(caution, style="dim")
        outcome = self._ended((("g", "goes on"), ("n", "no change"), ("c", "called")))
        if outcome == "no change":
            self.asked[-1] = (look.id, place.tag, "no")
            return ""
        self.tag = place.tag
        return outcome

    def _ended(self, ways: Sequence[tuple[str, str]]) -> str:
        words = {"goes on": "milking continues", "no change": "it did not help",
                 "called": "I have called"}  # fmt: skip
        how = ", ".join(f"{key}: {words[way]}" for key, way in ways)
        while (said := self._ask(f"({how}): ")) is not None:
            if said in dict(ways):
                return dict(ways)[said]
            self.out.print(f"Type {_one_of([k for k, _ in ways])}.")
        return "open"

    def _steps(self, title: str, steps: Sequence[str]) -> None:
        self.out.print(f"\n[bold]{title}[/]")
        for number, step in enumerate(steps, 1):
            self.out.print(f"  {number}. {step}", highlight=False)

    def _ask(self, prompt: str) -> str | None:
        """What is typed, in small letters; None at the end or with q."""
        said = _line(prompt)
        return None if said is None or said.casefold() == "q" else said.casefold()


def _one_of(some: Sequence[str]) -> str:
    return " or ".join(filter(None, (", ".join(some[:-1]), some[-1])))


def _line(prompt: str) -> str | None:
    try:
        return input(prompt).strip()
    except (EOFError, KeyboardInterrupt):
        print()
        return None

"""Ten thousand broken plant files, each a clear error or a sound plant; then two thousand bent
plants, briefs, limits, prices, terms, costs and maps through every command: no traceback, no run
over 60 s of processor time, no negative litre, time or count, nothing that is not a number.

.venv/bin/python benchmarks/bench_mutants.py [reader|commands] [how many] [first seed] [each]

`each`: commands that a plant goes through, in turn; all when it is left out.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import select
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from byrewright.plant.problems import FileProblems
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.write import plant_to_text
from byrewright.site.addresses import default_addresses, write_map
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.routes.study import Routes
from tests.abuse import asked, commands, tried
from tests.plant.mutate import mutated_bytes
from tests.plant.small import SMALL


def outcome(path: Path) -> tuple[str, str]:
    """What a broken file led to, and the code of its first problem."""
    try:
        file = read_plant(path)
        file.check()
        same = read_plant_text(plant_to_text(file.plant)).plant == file.plant
        return ("sound plant" if same else "CHANGED BY WRITING"), ""
    except FileProblems as error:
        good = all(p.sentence.isprintable() and len(p.sentence) < 600 for p in error.problems)
        return ("clear error" if good else "UNCLEAR ERROR"), error.problems[0].code
    except Exception as error:  # this is what the benchmark looks for
        return f"OTHER: {type(error).__name__}", ""


def reader(count: int, first: int) -> int:
    """Run the reader, print the counts; 1 if anything but a clear error or a sound plant came."""
    outcomes: Counter[str] = Counter()
    codes: Counter[str] = Counter()
    wrong: list[int] = []
    slowest = (0.0, 0)
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        for seed in range(first, first + count):
            path.write_bytes(mutated_bytes(SMALL, seed))
            began = time.perf_counter()
            word, code = outcome(path)
            slowest = max(slowest, (time.perf_counter() - began, seed))
            outcomes[word] += 1
            codes[code] += 1
            if word not in ("sound plant", "clear error"):
                wrong.append(seed)
    took = time.perf_counter() - start
    print(f"{count} broken plant files, seeds {first} to {first + count - 1}, in {took:.0f} s")
    print(f"slowest {slowest[0]:.2f} s (seed {slowest[1]})")
    for word, many in outcomes.most_common():
        print(f"  {many:6d}  {word}")
    print("first problem:", ", ".join(f"{c} {n}" for c, n in codes.most_common() if c))
    if wrong:
        print("seeds to look at:", *wrong[:20])
    return bool(wrong)


EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
KILL_S = 120
"""Processor time after which a command is ended, s; one over 60 s is told by itself."""
WALL_S = 900
"""A mutant that has said nothing for so long hangs, s."""


@dataclass(frozen=True)
class Wanted:
    """What mutants are made of, and how many commands each goes through (all: 0)."""

    plants: list[str]
    maps: str
    each: int


@dataclass
class Counts:
    """What came of the commands: runs, answers, refusals and the slowest, by command."""

    runs: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    slowest: dict[str, tuple[float, int]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    processor_s: float = 0.0

    def take(self, seed: int, told: dict[str, Any]) -> None:
        """One command that ended."""
        name = told["name"]
        self.runs[name] += 1
        self.refused[name] += told["code"] != 0
        self.processor_s += told["took"]
        self.slowest[name] = max(self.slowest.get(name, (0.0, 0)), (told["took"], seed))
        if told["fault"]:
            self.faults.append(f"seed {seed}: {told['words']}: {told['fault']}")
            print(self.faults[-1], flush=True)

    def table(self) -> str:
        """The counts as a table."""
        rows = [f"{'command':12} {'runs':>6} {'refused':>8} {'slowest s':>10}  seed"]
        for name, runs in sorted(self.runs.items()):
            took, seed = self.slowest[name]
            rows.append(f"{name:12} {runs:6} {self.refused[name]:8} {took:10.1f}  {seed}")
        return "\n".join(rows)


def child(seed: int, folder: Path, wanted: Wanted, out: TextIO) -> None:
    """One mutant through its commands, in a process of its own."""
    for words in asked(seed, folder, wanted.plants, wanted.maps, wanted.each):
        limit = int(time.process_time()) + KILL_S
        resource.setrlimit(resource.RLIMIT_CPU, (limit, resource.RLIM_INFINITY))
        said = " ".join(words).replace(str(folder), ".")
        print(json.dumps({"begins": said, "name": words[0]}), file=out, flush=True)
        ended, what = tried(words)
        print(json.dumps({"name": words[0], "words": said, "fault": what[:400],
                          "code": ended.code, "took": ended.processor_s}),
              file=out, flush=True)  # fmt: skip


def one_mutant(seed: int, wanted: Wanted, counts: Counts) -> None:
    """Fork, listen to the child, and count what it told; a child that is killed is a fault."""
    with tempfile.TemporaryDirectory() as folder:
        into, outof = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(into)
            try:
                with os.fdopen(outof, "w") as out:
                    child(seed, Path(folder), wanted, out)
            except BaseException:  # a fault of this benchmark: nothing else comes here
                traceback.print_exc()
            finally:
                os._exit(0)
        os.close(outof)
        begun: dict[str, Any] = {}
        for one in _told(into):
            if "begins" in one:
                begun = one
            else:
                begun = {}
                counts.take(seed, one)
        if begun:
            os.kill(pid, signal.SIGKILL)  # it hangs, or has ended already
        os.waitpid(pid, 0)
        if begun:
            counts.take(seed, {"name": begun["name"], "words": begun["begins"], "code": -1,
                               "took": float(KILL_S), "fault": "did not end, or fell"})  # fmt: skip


def _told(into: int) -> Iterator[dict[str, Any]]:
    """What a child says, a line each, until it ends or says nothing for too long."""
    rest = b""
    with os.fdopen(into, "rb", buffering=0) as pipe:
        while select.select([pipe], [], [], WALL_S)[0] and (some := pipe.read(65_536)):
            *lines, rest = (rest + some).split(b"\n")
            yield from (json.loads(line) for line in lines)


def warmed(plants: list[str]) -> None:
    """Run what every child would load and compile. Not the typesetter: its threads do not fork."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for text in plants[:2]:
            for name in ("plant.yaml", "sound.yaml"):
                (folder / name).write_text(text, encoding="utf-8")
            for words in commands(folder / "plant.yaml", folder):
                if words[0] not in ("pack", "watch"):
                    tried(words)
    import httpx  # noqa: F401
    import nicegui.testing.user  # noqa: F401
    import pandas  # noqa: F401

    import byrewright.documents.pack
    import byrewright.web.pages
    import byrewright.web.server  # noqa: F401


def through_commands(count: int, first: int, each: int) -> int:
    """Run mutants through every command and print the faults; 1 if there were any."""
    plants = [
        f"{SMALL}place: {{services: under}}\n",
        *(p.read_text("utf-8") for p in sorted(EXAMPLES.glob("*/plant.yaml"))),
    ]
    table = Routes(read_plant_text(SMALL).plant, default_rulebook()).table
    maps = write_map(default_addresses(table))
    warmed(plants)
    gc.freeze()
    counts, begun = Counts(), time.monotonic()
    for done, seed in enumerate(range(first, first + count)):
        one_mutant(seed, Wanted(plants, maps, each), counts)
        if done % 100 == 99:
            print(f"... {done + 1} mutants, {len(counts.faults)} faults, "
                  f"{time.monotonic() - begun:.0f} s", flush=True)  # fmt: skip
    some = f"{each} commands a plant" if each else "every command"
    print(f"{count} mutants through {some}, seeds {first} to {first + count - 1}: "
          f"{sum(counts.runs.values())} runs, {len(counts.faults)} faults, "
          f"{counts.processor_s:.0f} s of processor time")  # fmt: skip
    print(counts.table(), flush=True)
    return bool(counts.faults)


def main() -> int:
    """The two parts, or the one that is named."""
    words = sys.argv[1:]
    part = words.pop(0) if words and not words[0].isdigit() else ""
    first = int(words[1]) if len(words) > 1 else 0
    wrong = 0
    if part in ("", "reader"):
        wrong |= reader(int(words[0]) if words else 10_000, first)
    if part in ("", "commands"):
        each = int(words[2]) if len(words) > 2 else 0
        wrong |= through_commands(int(words[0]) if words else 2_000, first, each)
    return wrong


if __name__ == "__main__":
    raise SystemExit(main())

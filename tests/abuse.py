"""Bent files: what the reader mostly takes, with values and parts that no sound plant has.

`tests.plant.mutate` breaks files as text, to try the reader; these get past it, to try what comes
behind. The same seed gives the same file.
"""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from traceback import extract_tb

from byrewright.standards.rulebook import default_rulebook
from tests.commands.inside import Ended, inside
from tests.plant.mutate import mutated
from tests.plant.small import BRIEF

NUMBER = re.compile(r"(?<=[ \[:])-?\d+(?:\.\d+)?(?=[ ,}\]\n])")
STATES = ("runs", "stopped", "ready", "open", "closed", "fills", "milks", "a-b", "a-c")
STATE = re.compile(rf": ({'|'.join(STATES)})(?=[ ,}}\n])")
LISTS = ("collections", "milkings", "groups", "ambient_c", "fittings", "tariff", "steps")
FACTORS = (0.0, 0.01, 0.1, 0.5, 2.0, 10.0, 1000.0, 1e12, -1.0)


def bent(text: str, seed: int) -> str:
    """A bent copy of a plant, brief, limits, cost or map file: one to three changes."""
    draw = random.Random(seed)
    for _ in range(draw.choice((1, 1, 2, 3))):
        text = draw.choice(WAYS)(text, draw)
    return text


def _numbers(text: str, draw: random.Random) -> str:
    """Another number, by a factor or altogether."""
    found = list(NUMBER.finditer(text))
    if not found:
        return text
    one = draw.choice(found)
    value = float(one[0]) * draw.choice(FACTORS)
    new = draw.choice((f"{value:g}", f"{value:g}", str(round(value)), "0", "1", "1e299"))
    return text[: one.start()] + new + text[one.end() :]


def _states(text: str, draw: random.Random) -> str:
    """One state by another, here or everywhere."""
    found = list(STATE.finditer(text))
    if not found:
        return text
    one, new = draw.choice(found), draw.choice(STATES)
    if draw.random() < 0.3:
        return re.sub(rf": {one[1]}(?=[ ,}}\n])", f": {new}", text)
    return text[: one.start()] + f": {new}" + text[one.end() :]


def _no_list(text: str, draw: random.Random) -> str:
    """A list made empty."""
    key = draw.choice(LISTS)
    text = re.sub(rf"\n{key}:\n(?:  - .*\n(?:    .*\n)*)+", f"\n{key}: []\n", text, count=1)
    return re.sub(rf"\b{key}: \[[^\]]*\]", f"{key}: []", text, count=1)


def _blocks(text: str, draw: random.Random, section: str) -> tuple[str, list[str], str]:
    """What stands before, in (one piece a key or item) and behind a section."""
    found = re.search(rf"^{section}:\n((?:[ #].*\n)*)", text, re.M)
    if not found:
        return text, [], ""
    pieces = re.findall(r"  [^ #\n].*\n(?:   .*\n)*", found[1])
    return text[: found.start(1)], pieces, text[found.end(1) :]


def _drop(section: str) -> Callable[[str, random.Random], str]:
    def drop(text: str, draw: random.Random) -> str:
        before, pieces, behind = _blocks(text, draw, section)
        if len(pieces) < 2:
            return text
        if draw.random() < 0.1:
            pieces = [draw.choice(pieces)]  # all but one
        else:
            pieces.pop(draw.randrange(len(pieces)))
        return before + "".join(pieces) + behind

    return drop


def _double(text: str, draw: random.Random) -> str:
    """A machine twice, under another tag, joined to nothing."""
    before, pieces, behind = _blocks(text, draw, "equipment")
    if not pieces:
        return text
    one = draw.choice(pieces)
    return before + "".join(pieces) + re.sub(r"  (\w+):", "  X9:", one, count=1) + behind


WAYS: Sequence[Callable[[str, random.Random], str]] = (
    _numbers, _numbers, _numbers, _numbers, _states, _states, _no_list, _drop("pipes"),
    _drop("modes"), _drop("equipment"), _drop("milkings"), _double,
)  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """A command that did what no command may: what, and with which words."""

    what: str
    words: tuple[str, ...]
    ended: Ended


ALLOWED_S = 60.0
NONSENSE = re.compile(r"\b(?:nan|inf|None)\b(?! is (?:not|out of))|Traceback|which cannot be;")
BELOW_NOTHING = re.compile(r"(?<![\d.,e(-])-\d+(?:\.\d+)? (?:L|h|min|s|cows|kg)\b(?!, at least 0)")
TAGS = re.compile(r"<[^>]*>")


def fault(words: Sequence[str]) -> Fault | None:
    """Run a command here; what was wrong with how it ended, if anything was."""
    ended, what = tried(words)
    return Fault(what, tuple(words), ended) if what else None


def tried(words: Sequence[str]) -> tuple[Ended, str]:
    """Run a command here; how it ended, and what was wrong with that ("" is nothing).

    `serve` is every page of the plant opened once; it can be asked once in a process.
    """
    ended = served(words) if words[0] == "serve" else inside(words)
    what = ""
    if ended.fell is not None:
        what = f"{type(ended.fell).__name__}: {ended.fell} {_where(ended.fell)}"
    elif ended.code not in (0, 1, 2):
        what = f"exit code {ended.code}"
    elif ended.processor_s > ALLOWED_S:
        what = f"{ended.processor_s:.0f} s"
    elif said := NONSENSE.search(ended.out + ended.err) or BELOW_NOTHING.search(ended.out):
        what = f"says {said[0]!r}"
    elif ended.code == 2 and not ended.err.strip():
        what = "refuses without a word"
    return ended, what


def served(words: Sequence[str]) -> Ended:
    """The pages of a plant, as a command that ended."""
    from tests.visits import visit

    began, fell, said, told = time.process_time(), None, "", ""
    try:
        said, told = visit(Path(words[1]), ALLOWED_S)
    except BaseException as error:  # what no page may do
        fell = error
    took = time.process_time() - began
    return Ended(TAGS.sub(" ", said), told, 2 if told else 0, fell, took)


def _where(error: BaseException) -> str:
    """The last place in this package that an error passed."""
    own = [f for f in extract_tb(error.__traceback__) if "byrewright" in f.filename]
    return f"({Path(own[-1].filename).name}:{own[-1].lineno})" if own else ""


def sound(text: str, seed: int, path: Path, tries: int = 6) -> bool:
    """Write the first of some bent copies of a plant that the check accepts; whether one was."""
    for turn in range(tries):
        path.write_text(bent(text, seed * tries + turn), encoding="utf-8")
        if inside(("check", str(path))).code == 0:
            return True
    return False


def watch(plant: Path) -> tuple[str, ...]:
    """A short watch of a simulated controller."""
    return ("watch", str(plant), "--simulate", "--seconds", "0.2", "--period", "0.1")


def commands(plant: Path, out: Path) -> tuple[tuple[str, ...], ...]:
    """Every command that reads a plant, quick where it has a quick form."""
    p, sound = str(plant), str(out / "sound.yaml")
    return (
        ("check", p),
        ("size", p, "--all"),
        ("day", p, "--all"),
        ("vacuum", p, "--only", "attach"),
        ("routes", p, "--order", "1", "--no-orders"),
        ("size", p, "--json", "--units", "US"),
        ("day", p, "--month", "1", "--json"),
        ("explain", p, "storage.volume"),
        ("interlocks", p, "--out", str(out / "locks")),
        ("day", p, "--hot", "--days", "2", "--out", str(out / "sheet.svg")),
        ("pack", p, "--out", str(out / "pack"), "--date", "2026-01-05"),
        ("failures", p, "--hours", "2"),
        ("place", p),
        ("diff", sound, p),
        ("quote", p, "--prices", PRICES),
        ("diagnose", p, "--says", "vacuum low", "--read", "pump_capacity@VP1=900+-50"),
        ("tests", p, "--out", str(out / "sheets")),
        ("service", p, "--missed", "--calendar", str(out / "visits.ics"), "--date", "2026-01-05"),
        ("call", p, "--out", str(out / "call.html")),
        ("cloths", p, "--new", "A=500", "--used", "A=morning", "--all"),
        ("log", "list", p),
        ("rehearse", p),
        watch(plant),
    )


PRICES = str(Path(__file__).resolve().parents[1] / "examples" / "prices.csv")
TERMS = str(Path(PRICES).with_name("terms.yaml"))
COSTS = "VP1: 5000\nbulk_tank: 30000\nMP1: 900\n"
READINGS = "seconds,vacuum\n" + "".join(f"{t / 10:g},{42 + (t % 7) / 10:g}\n" for t in range(600))


def limits(seed: int) -> str:
    """A limits file with some rules at their own values, to be bent."""
    rules = default_rulebook()
    keys = random.Random(seed).sample(sorted(rules), 8)
    return "".join(f"{key}: {rules[key].value:g}\n" for key in keys)


def asked(
    seed: int, folder: Path, plants: Sequence[str], maps: str, each: int = 0
) -> list[tuple[str, ...]]:
    """Write one mutant into a folder, with a sound plant beside it; the commands it goes through.

    The first plant goes through every command, or through `each` of them in turn; the others
    through three.
    """
    plant, side = folder / "plant.yaml", folder / "side"
    text = plants[seed // 10 % len(plants) if seed % 10 == 5 else 0]
    full = ("pack", str(plant), "--full", "--out", str(folder / "full"))
    every = [*commands(plant, folder), full, ("serve", str(plant))]
    broken: Callable[[str, int], str] = mutated if seed % 3 == 0 else bent
    for one in ("limits.yaml", "readings.yaml"):
        (folder / one).unlink(missing_ok=True)
    plant.write_text(text, encoding="utf-8")
    (folder / "sound.yaml").write_text(text, encoding="utf-8")

    def turn(many: int) -> list[tuple[str, ...]]:
        """Some of the commands: others for the next mutant. The pages once, and last."""
        first = seed // 10 * 5 + seed % 5
        some = [every[(first * many + i) % len(every)] for i in range(many or len(every))]
        return sorted(some, key=lambda words: words[0] == "serve")

    def beside(path: Path, of: str) -> str:
        path.write_bytes(broken(of, seed).encode("utf-8", "replace"))
        return str(path)

    match seed % 10:
        case 6:
            made = folder / "made.yaml"
            made.unlink(missing_ok=True)
            quick = ("--quick",) if seed % 250 != 6 else ()
            brief = beside(side, BRIEF)
            return [("draft", brief, "--out", str(made), "--overwrite", *quick),
                    ("size", str(made)), ("day", str(made))]  # fmt: skip
        case 7:
            beside(folder / "limits.yaml", limits(seed))
            return turn(each)
        case 8 if seed // 10 % 2:
            from byrewright.site.readings.mapping import template

            if seed // 20 % 2:
                (folder / "readings.yaml").write_text(template("PU1", "RC1"), encoding="utf-8")
                beside(folder / "vacuum1.csv", READINGS)
            else:
                beside(folder / "readings.yaml", template("PU1", "RC1"))
                (folder / "vacuum1.csv").write_text(READINGS, encoding="utf-8")
            return [("readings", str(plant), str(folder / "vacuum1.csv"))]
        case 8 if seed // 20 % 3 == 1:
            terms = beside(side, Path(TERMS).read_text("utf-8"))
            return [("quote", str(plant), "--prices", PRICES, "--terms", terms,
                     "--out", str(folder / "quote"), "--date", "2026-01-05")]  # fmt: skip
        case 8 if seed // 20 % 3 == 2:
            prices = beside(folder / "prices.csv", Path(PRICES).read_text("utf-8"))
            return [("quote", str(plant), "--prices", prices, "--all")]
        case 8:
            return [("failures", str(plant), "--hours", "1", "--costs", beside(side, COSTS))]
        case 9:
            where = ("--addresses", beside(side, maps))
            return [("interlocks", str(plant), "--out", str(folder / "locks"), *where),
                    (*watch(plant), *where)]  # fmt: skip
        case 5 if len(plants) > 1:
            sound(text, seed, plant)
            return turn(3)
        case _:
            if seed % 10:
                sound(text, seed, plant)
            else:
                beside(plant, text)
            return turn(each)


def trial(seed: int, folder: Path, plants: Sequence[str], maps: str) -> Iterator[Fault]:
    """One mutant through two commands or three, but not its pages; what none of them may do."""
    for words in asked(seed, folder, plants, maps, 2):
        if words[0] == "serve":
            continue
        found = fault(words)
        if found is not None:
            yield found

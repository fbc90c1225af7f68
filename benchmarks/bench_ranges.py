"""Each rule at both ends of its range, through the studies that read it:
none may fall, hang, or tell a negative litre, time or count.

.venv/bin/python benchmarks/bench_ranges.py [text that the keys hold]

A plant in rows and a rotary; what a study reads is written down from the study itself.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from byrewright.standards.model import Value
from byrewright.standards.rulebook import Rulebook, default_rulebook
from tests.abuse import tried
from tests.plant.small import SMALL

ROTARY = Path(__file__).resolve().parents[1] / "examples" / "rotary_spring_ice" / "plant.yaml"


def studies(plant: Path) -> tuple[tuple[str, ...], ...]:
    """The commands that judge by rules."""
    p = str(plant)
    return (
        ("size", p, "--all"),
        ("vacuum", p),
        ("day", p, "--all"),
        ("failures", p, "--hours", "2"),
        ("place", p),
        ("routes", p, "--order", "1", "--no-orders"),
        ("rehearse", p),
        ("quote", p),
        ("service", p),
        ("diagnose", p, "--says", "slow milking"),
        ("watch", p, "--simulate", "--seconds", "0.2", "--period", "0.1"),
    )


def read_by(words: tuple[str, ...]) -> set[str]:
    """The rules that a command asks for."""
    asked: set[str] = set()
    take = Rulebook.__getitem__

    def noted(book: Rulebook, key: str) -> Value:
        asked.add(key)
        return take(book, key)

    Rulebook.__getitem__ = noted  # type: ignore[method-assign]
    try:
        tried(words)
    finally:
        Rulebook.__getitem__ = take  # type: ignore[method-assign]
    return asked


def main() -> int:
    """Every rule through its studies; 1 if there was a fault."""
    some = sys.argv[1] if len(sys.argv) > 1 else ""
    rules, idle = default_rulebook(), set(default_rulebook())
    done = faults = runs = 0
    began = time.process_time()
    for text in (SMALL + "place: {services: under}\n", ROTARY.read_text("utf-8")):
        with tempfile.TemporaryDirectory() as folder:
            plant, limits = Path(folder) / "plant.yaml", Path(folder) / "limits.yaml"
            plant.write_text(text, encoding="utf-8")
            asked = {words: read_by(words) for words in studies(plant)}
            for key in sorted(k for k in rules if some in k):
                readers = [words for words, keys in asked.items() if key in keys]
                for number in rules[key].range if readers else ():
                    limits.write_text(f"{key}: {number!r}\n", encoding="utf-8")
                    for words in readers:
                        runs += 1
                        _, what = tried(words)
                        if what:
                            faults += 1
                            print(f"{key}: {number:g}: {words[0]}: {what}", flush=True)
                idle -= {key} if readers else set()
                done += 1
                if done % 50 == 0:
                    print(f"... {done} rules, {runs} runs, {faults} faults, "
                          f"{time.process_time() - began:.0f} s", flush=True)  # fmt: skip
    print("read by no study here:", ", ".join(sorted(k for k in idle if some in k)) or "none")
    return bool(faults)


if __name__ == "__main__":
    raise SystemExit(main())

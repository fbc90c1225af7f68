"""Kills a writer of the log at any moment, again and again; what it acknowledged must be there.

Run as `python -m tests.site.killed TIMES FOLDER`: a child is forked for each time (everything is
imported by then), writes entries as fast as it can, says each that is written, and is killed.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

from byrewright.site.log import Log, New, Owner
from byrewright.site.log.home import File, Home

OWNER = Owner("plant-1", "(invented) one")
LONGEST_S = 0.12


def write(home: Home, say: int) -> None:
    """Write until killed; each uid goes into the pipe when the log has it."""
    log = Log(home, OWNER)
    while True:
        made = log.append([New("hours", time.time(), "VP1", "a", {"hours": 1.0}) for _ in "ab"])
        os.write(say, "".join(e.uid for e in made).encode())


def killed(home: Home, after_s: float, *, once: bool) -> set[str]:
    """The uids that one killed writer had acknowledged; `once` it has begun to, where asked."""
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            write(home, say)
        finally:
            os._exit(1)
    os.close(say)
    told = os.read(hear, 65536) if once else b""
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while part := os.read(hear, 65536):
        told += part
    os.close(hear)
    return {told[i : i + 32].decode() for i in range(0, len(told) // 64 * 64, 32)}


def main(times: int, folder: Path, seed: int = 1, made: Callable[[], Home] | None = None) -> str:
    """Kill so many writers; the result in a line. Raises AssertionError when anything is lost.

    `made` gives the place of a new log; files of the folder without it.
    """
    draw, told, acknowledged = random.Random(seed), set[str](), 0
    Log(folder / "warm.sqlite", OWNER).entries()  # imports what the first opening needs
    home: Home = File(folder / "log.sqlite")
    for number in range(times):
        if number % 10 == 0:  # a new log each ten: killed while it is made, too
            home = made() if made else File(folder / f"log{number}.sqlite")
            told = set()
        more = killed(home, draw.uniform(0.0, LONGEST_S), once=number % 2 == 1)
        told |= more
        acknowledged += len(more)
        if isinstance(home, File) and home.identity() is None:
            continue
        log = Log(home, OWNER)
        entries = log.entries()
        assert told <= {e.uid for e in entries}, f"kill {number}: an acknowledged entry is lost"
        assert len(entries) % 2 == 0, f"kill {number}: half of what belongs together was written"
        assert not log.verify(), f"kill {number}: {log.verify()[0]}"
        log.close()
    assert acknowledged, "no writer came to write anything"
    return (
        f"{times} kills (seed {seed}), {acknowledged} entries acknowledged: nothing acknowledged "
        "was lost, every log opened"
    )


if __name__ == "__main__":
    print(main(int(sys.argv[1]), Path(sys.argv[2])))

"""A day at 100 Hz (8.64 million rows) read and worked out: seconds of processor, peak memory."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
HZ, DAY_S = 100, 86_400
LIMIT_S, LIMIT_MB = 10.0, 1000.0
PULSE = """
readings: 1
files:
  pulses:
    matches: "puls#.csv"
    time: {column: "Time", written: "%d.%m.%Y %H:%M:%S.%f"}
    channels:
      "Channel 1": {is: chamber_vacuum, at: PU1, half: 1, uncertainty: 0.5}
  receiver:
    matches: "receiver.csv"
    time: {column: "seconds", written: seconds}
    channels:
      "vacuum": {is: vacuum, at: RC1, uncertainty: 0.3}
"""


def write(folder: Path, kind: str) -> Path:
    """A day's file of one kind."""
    path = folder / ("receiver.csv" if kind == "receiver" else "puls7.csv")
    t = np.arange(HZ * DAY_S) / HZ
    noise = np.random.default_rng(7).normal(0.0, 0.1, t.size)
    at = np.mod(t, 1.0)
    pulse = np.where(at < 0.65, 42 * (1 - np.exp(-at / 0.055)), 42 * np.exp(-(at - 0.65) / 0.045))
    x = np.round((42.0 if kind == "receiver" else pulse) + noise, 2)
    with path.open("w") as file:
        file.write("seconds,vacuum\n" if kind == "receiver" else "Time,Channel 1\n")
        for hour in range(24):
            part = slice(hour * 3600 * HZ, (hour + 1) * 3600 * HZ)
            if kind == "receiver":
                lines = (f"{a:.2f},{b:.2f}\n" for a, b in zip(t[part], x[part], strict=True))
            else:
                lines = (
                    f"02.03.2026 {hour:02}:{i // 6000:02}:{i // 100 % 60:02}.{i % 100:02}0,"
                    f"{b:.2f}\n"
                    for i, b in enumerate(x[part])
                )
            file.writelines(lines)
    return path


def one(path: Path) -> None:
    """Read and work out a file; prints figures, seconds and memory."""
    from byrewright.plant.read import read_plant
    from byrewright.results import ResultBuilder
    from byrewright.site.readings.files import read_file
    from byrewright.site.readings.mapping import read_map
    from byrewright.site.readings.study import study_readings
    from byrewright.standards.rulebook import default_rulebook

    plant = read_plant(ROOT / "examples" / "rotary_spring_ice" / "plant.yaml").plant
    plan = read_map(path.parent / "readings.yaml")
    begun, clock = time.process_time(), time.monotonic()
    read = read_file(path, *plan.kind_of(path))
    middle = time.process_time()
    result = study_readings(plant, default_rulebook(), [read], ResultBuilder("none", "").result())
    spent = time.process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    verdict = "inside" if spent < LIMIT_S and peak < LIMIT_MB else "OUTSIDE"
    print(
        f"{path.name}: {read.readings[0].trace.t_s.size} rows, {len(result.findings)} figures; "
        f"read "
        f"{middle - begun:.1f} s, worked out {spent - middle + begun:.1f} s of processor "
        f"({time.monotonic() - clock:.1f} s by the clock), {peak:.0f} MB at most: {verdict}"
    )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        one(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "readings.yaml").write_text(PULSE)
            for kind in ("receiver", "pulses"):
                path = write(folder, kind)
                subprocess.run([sys.executable, __file__, str(path)], check=True)
                path.unlink()

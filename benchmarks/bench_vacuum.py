"""The air network solver against `fluids`, pipe by pipe, and against pandapipes, whole networks.

    .venv/bin/python benchmarks/bench_vacuum.py            compare and print ratios
    .venv/bin/python benchmarks/bench_vacuum.py --record   also write the values tests are held to

pandapipes pins older libraries, so it gets an environment of its own (`out/pandapipes`), made here
on the first run. Both sides get the same air. Fails where results differ by more than 1 %.
"""

from __future__ import annotations

import json
import math
import statistics
import subprocess
import sys
import time
import venv
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

from byrewright.engine import airnet  # noqa: E402
from byrewright.physics import airflow  # noqa: E402
from byrewright.physics.constants import AIR_GAS_CONSTANT_J_KGK  # noqa: E402
from tests.airnets import AMBIENT_KPA, CELSIUS, net  # noqa: E402

PEER = "pandapipes==0.16.0"
HOME = ROOT / "out" / "pandapipes"
RECORDED = ROOT / "tests" / "published" / "recorded_pandapipes.json"
WITHIN = 0.01  # of the largest drop in the network
AIM = 50.0  # times as fast as the peer
REPEAT = 30
ROUGH_M = 1.5e-6


def networks() -> dict[str, dict[str, Any]]:
    """Rings and a tree as plain data: pipes (a, b, bore m, length m, roughness m), inlets, held."""

    def ring(pieces: int, bore: float, main: float, kg_s: float) -> dict[str, Any]:
        pipes = [(i, (i + 1) % pieces, bore, 72.0 / pieces, ROUGH_M) for i in range(pieces)]
        pipes.append((0, pieces, main, 30.0, ROUGH_M))
        inlets = [(i, kg_s / pieces) for i in range(pieces)]
        return {"nodes": pieces + 1, "pipes": pipes, "inlets": inlets, "held": (pieces, 55.0)}

    plant = ring(24, 0.073, 0.098, 0.06)
    # A second ring for the milkline, two branches to it, and droppers at each stall.
    for i in range(24):
        plant["pipes"].append((25 + i, 25 + (i + 1) % 24, 0.080, 3.0, ROUGH_M))
        plant["inlets"].append((25 + i, 0.0015))
    plant["pipes"] += [(25, 0, 0.073, 8.0, ROUGH_M), (37, 12, 0.073, 8.0, ROUGH_M)]
    plant["nodes"] = 49
    return {
        "ring of 12": ring(12, 0.060, 0.098, 0.048),
        "ring of 24, steep drop": ring(24, 0.050, 0.073, 0.060),
        "two rings of a plant, 49 nodes": plant,
    }


def ours(given: dict[str, Any]) -> tuple[list[float], float]:
    """Pressures kPa absolute, and median seconds of a solve from nothing."""
    rows = [(a, b, d, length, 0.0, r / d, airnet.PIPE) for a, b, d, length, r in given["pipes"]]
    held, kpa = given["held"]
    inlets = [(n, airnet.FIXED, q, 1.0) for n, q in given["inlets"]]
    one = net(given["nodes"], rows, [*inlets, (held, airnet.HOLD, 0.0, kpa)])
    n, e = given["nodes"], len(rows)
    work, none = airnet.room(n, e), np.zeros(0)
    times = []
    p = np.zeros(n)
    for _ in range(REPEAT):
        p, flow = np.full(n, kpa), np.zeros(e)
        start = time.perf_counter()
        left = airnet.solve(one, p, flow, none, p, np.inf, work)
        times.append(time.perf_counter() - start)
        assert left < airnet.GOOD
    return p.tolist(), statistics.median(times)


def peer_python() -> Path:
    """The peer's own environment, made when it is not there."""
    python = HOME / "bin" / "python"
    if not python.exists():
        print(f"making {HOME.relative_to(ROOT)} with {PEER}")
        venv.create(HOME, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", PEER], check=True)
    return python


def peer(given: dict[str, Any]) -> dict[str, Any]:
    """The same network by pandapipes."""
    asked = {
        **given,
        "kelvin": CELSIUS + 273.15,
        "repeat": REPEAT,
        "normal_density": AMBIENT_KPA * 1000 / (AIR_GAS_CONSTANT_J_KGK * 273.15),
        "viscosity": airflow.air_viscosity_pa_s(CELSIUS),
    }
    script = ROOT / "benchmarks" / "peers" / "pandapipes_peer.py"
    done = subprocess.run(
        [peer_python(), script], input=json.dumps(asked), capture_output=True, text=True, check=True
    )
    found: dict[str, Any] = json.loads(done.stdout[done.stdout.index("{") :])
    return found


def against_fluids() -> bool:
    """One pipe at a time: drop of a hundred pipes by our law and by `fluids.isothermal_gas`."""
    import fluids

    mu, kelvin = airflow.air_viscosity_pa_s(CELSIUS), CELSIUS + 273.15
    rho = airflow.air_density_kg_m3(59.0, CELSIUS)
    worst = 0.0
    cases = [
        (bore, length, q / 60_000 * airflow.air_density_kg_m3(AMBIENT_KPA, CELSIUS))
        for bore in (0.038, 0.05, 0.06, 0.073, 0.098)
        for length in (5.0, 10.0, 20.0, 40.0)
        for q in (300.0, 600.0, 900.0, 1200.0, 1500.0)
    ]
    times = [0.0, 0.0]
    airnet.edge_fall(0.01, 0.05, 5.0, 0.0, 0.0, kelvin, mu)  # compiled before the clock runs
    for bore, length, kg_s in cases:
        start = time.perf_counter()
        value, _ = airnet.edge_fall(kg_s, bore, length, 0.0, 0.0, kelvin, mu)
        far = math.sqrt(59.0**2 - value)
        for _ in range(3):  # the expansion term
            more, _ = airnet.edge_fall(
                kg_s, bore, length, 2 * math.log(59.0 / far), 0.0, kelvin, mu
            )
            far = math.sqrt(59.0**2 - more)
        middle = time.perf_counter()
        friction = fluids.friction_factor(Re=4 * kg_s / (math.pi * bore * mu), eD=0.0)
        theirs = fluids.isothermal_gas(rho=rho, fd=friction, P1=59e3, L=length, D=bore, m=kg_s)
        times[0] += middle - start
        times[1] += time.perf_counter() - middle
        worst = max(worst, abs((59.0 - far) / (59.0 - theirs / 1e3) - 1.0))
    print(
        f"fluids, {len(cases)} pipes: largest difference of a drop {100 * worst:.3f} %; "
        f"ratio of times {times[1] / times[0]:.1f} (both called from Python)"
    )
    return worst < WITHIN


def main() -> int:
    """Compare, print, record if asked; 1 where results differ by more than 1 %."""
    good = against_fluids()
    recorded: dict[str, Any] = {}
    for name, given in networks().items():
        mine, seconds = ours(given)
        theirs = peer(given)
        drop = max(theirs["kpa_abs"]) - min(theirs["kpa_abs"])
        worst = max(abs(a - b) for a, b in zip(mine, theirs["kpa_abs"], strict=True)) / drop
        ratio = theirs["seconds"] / seconds
        print(
            f"pandapipes {theirs['version']}, {name}: drop {drop:.3f} kPa, differs by "
            f"{100 * worst:.2f} % of it; {1e3 * theirs['seconds']:.1f} ms against "
            f"{1e6 * seconds:.0f} us: {ratio:.0f} times"
            + ("" if ratio >= AIM else f" (aim {AIM:.0f})")
        )
        good = good and worst < WITHIN
        recorded[name] = {"given": given, "kpa_abs": theirs["kpa_abs"],
                          "version": theirs["version"]}  # fmt: skip
    if "--record" in sys.argv:
        RECORDED.write_text(json.dumps(recorded, indent=1) + "\n", encoding="utf-8")
        print(f"written: {RECORDED.relative_to(ROOT)}")
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())

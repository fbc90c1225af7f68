"""Solve an air network with pandapipes; run by `benchmarks/bench_vacuum.py` in its own environment.

Reads the network as JSON on standard input, writes pressures (kPa absolute) and times as JSON.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
import warnings

import pandapipes as pp


def main() -> None:
    """Build, solve several times, print."""
    given = json.load(sys.stdin)
    warnings.simplefilter("ignore")  # it takes a gauge pressure below ambient for a fault
    net = pp.create_empty_network()
    t_k = given["kelvin"]
    # The same air on both sides: its own table holds densities at 1 bar but uses them at 1.01325.
    net.fluid = pp.create_constant_fluid(
        name="air of the comparison", fluid_type="gas", density=given["normal_density"],
        viscosity=given["viscosity"], compressibility=1.0, der_compressibility=0.0,
        heat_capacity=1005.0, molar_mass=28.96,
    )  # fmt: skip
    ambient_bar = 1.01325
    nodes = [pp.create_junction(net, pn_bar=1.0, tfluid_k=t_k) for _ in range(given["nodes"])]
    for a, b, bore_m, length_m, rough_m in given["pipes"]:
        pp.create_pipe_from_parameters(
            net, nodes[a], nodes[b], length_km=length_m / 1000.0, inner_diameter_mm=bore_m * 1000.0,
            k_mm=rough_m * 1000.0, sections=1,
        )  # fmt: skip
    for node, kg_s in given["inlets"]:
        pp.create_source(net, nodes[node], mdot_kg_per_s=kg_s)
    at, kpa = given["held"]
    pp.create_ext_grid(net, nodes[at], p_bar=kpa / 100.0 - ambient_bar, t_k=t_k)
    times = []
    for _ in range(given["repeat"]):
        start = time.perf_counter()
        pp.pipeflow(net, friction_model="colebrook", mode="hydraulics", max_iter_hyd=200,
                    tol_p=1e-9, tol_m=1e-9)  # fmt: skip
        times.append(time.perf_counter() - start)
    json.dump(
        {
            "kpa_abs": [(p + ambient_bar) * 100.0 for p in net.res_junction.p_bar.tolist()],
            "seconds": statistics.median(times),
            "version": pp.__version__,
        },
        sys.stdout,
    )


if __name__ == "__main__":
    main()

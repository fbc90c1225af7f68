"""Where the tester connects: the test points that the service drawings show."""

from __future__ import annotations

from byrewright.plant.plant import Plant
from byrewright.site.checks.catalogue import TESTS
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import NoNetwork

PUMP_POINTS = ("A2", "Vp", "Pe")
PRESSURES = ("kPa", "bar")


def vacuum_points(plant: Plant) -> dict[str, tuple[str, ...]]:
    """Connection points of the vacuum tests by machine, in the manner of ISO 6690: A1 and Vm at the
    receiver, Vr where the vacuum is regulated, A2, Vp and Pe at each pump.

    They stand where the vacuum study predicts what is read there.
    """
    try:
        net = network_of(plant, default_rulebook())
    except NoNetwork:
        return {}
    found: dict[str, tuple[str, ...]] = {p.machine.id: PUMP_POINTS for p in net.pumps}
    for node, letters in ((net.milk_point, ("A1", "Vm")), (net.regulation_point, ("Vr",))):
        tag = net.nodes[node].partition(".")[0]
        found[tag] = (*found.get(tag, ()), *letters)
    return found


def other_points(plant: Plant) -> dict[str, tuple[str, ...]]:
    """Machines where a test reads a temperature (TP) or a pressure (PP) on the spot; letters after
    ANSI/ISA-5.1 (from memory), P second for a test connection."""
    found = {}
    for machine in plant.equipment.values():
        here = [f for name in machine.tests() if not TESTS[name].whole
                for f in TESTS[name].figures if not f.point]  # fmt: skip
        letters = ["TP"] if any(f.unit == "degC" for f in here) else []
        letters += ["PP"] if any(f.unit in PRESSURES for f in here) else []
        if letters:
            found[machine.id] = tuple(letters)
    return found

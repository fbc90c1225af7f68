"""Plain records that machine kinds lower to: what a machine does, without saying what it is.

A kind's `lower()` returns some of these. The engine knows them and their laws, never the kinds,
so a new kind runs with no change to the engine. Ports are named as on the machine; `*` is a
vessel's own body. A machine with `count` lowers to records for all of them together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Holds = Literal["milk", "water", "wash"]


@dataclass(frozen=True, slots=True)
class Vessel:
    """A mixed volume. `source` never runs dry (its `volume_l` is then what it gives in a minute);
    `sink` takes all and is a ledger.

    Above the liquid stands air, or the working vacuum; a closed one gives under the pressure of its
    `supply`. Without `height_m` it is as high as wide.
    `fill` marks final storage that the fill valves choose between; `tanker` is where tankers
    couple. `wall` is the shape of an insulated tank, whose heat follows its fill; `gain_k_h` is
    then the warming of a full one 28 K below its surroundings, where stated; `wall_u_w_m2k` is what
    passes its wall where that is not a milk tank's. `loss_share_h` is the
    share of a plain vessel's heat above the surroundings lost in an hour.
    """

    volume_l: float
    holds: Holds = "milk"
    role: Literal["store", "source", "sink"] = "store"
    fill: bool = False
    wall: Literal["", "lying", "standing"] = ""
    gain_k_h: float | None = None
    wall_u_w_m2k: float | None = None
    loss_share_h: float = 0.0
    start_share: float = 0.0
    led_at_l: float | None = None
    stop_at_l: float | None = None
    start_at_l: float | None = None
    overflow: str = ""
    height_m: float | None = None
    gas: Literal["air", "vacuum", "supply"] = "air"


Figure = float | str
"""A number, or the key of the rule that gives it."""


@dataclass(frozen=True, slots=True)
class Loss:
    """Head that liquid loses on its way from `a` to `b`, or back, for all of a machine's `count`.

    Either `drop_kpa` at `at_l_min` (times `times`, over the rule `per`), growing with flow to the
    power `exponent`; or `k` velocity heads in `bore_mm` (none: that of the pipes there), `half_k`
    for a half-open valve.
    `opens_kpa` shuts it to what comes back and asks that pressure to open. `sock` marks a filter:
    its drops clean, half used, due for a change, and with the sock out. `at_kw` gives the flow of
    chilled liquid as the heat it takes; `by` says where the flow comes from.
    """

    a: str
    b: str
    drop_kpa: Figure = 0.0
    at_l_min: Figure = 0.0
    times: float = 1.0
    per: str = ""
    exponent: Figure = 2.0
    k: Figure = 0.0
    half_k: Figure = 0.0
    bore_mm: float | None = None
    opens_kpa: Figure | None = None
    at_kw: float = 0.0
    by: str = ""
    sock: bool = False


@dataclass(frozen=True, slots=True)
class Pump:
    """Pushes liquid from `inlet` to `outlet`; its law follows the level of a vessel.

    `head_m` is that at its flow; without one it gives its flow against any head. While it stands,
    liquid can be pushed through it where it is `free`. `drains` lets out what stands in it after a
    wash.
    """

    inlet: str
    outlet: str
    flow_l_min: float
    law: Literal["fixed", "on_off", "stepped", "level_led"] = "fixed"
    led_by: str | None = None
    steps: int = 3
    floor_share: float = 0.25
    motor_kw: float = 0.0
    head_m: float | None = None
    free: bool = True
    npsh_m: float | None = None
    drains: bool = False


@dataclass(frozen=True, slots=True)
class Runs:
    """Liquid runs by gravity out of the body through `port` in a mean `time_s`: along a line, or to
    the level of a partner. What has no time of its own runs as the solved network says."""

    port: str
    time_s: float


@dataclass(frozen=True, slots=True)
class Float:
    """A float valve: liquid is let in at `port` up to a share of the volume."""

    port: str
    level_share: float
    flow_l_min: float


@dataclass(frozen=True, slots=True)
class Exchange:
    """Counterflow exchanger between a milk way and a cold way that follows it by `ratio`."""

    hot_in: str
    hot_out: str
    cold_in: str
    cold_out: str
    ua_kw_k: float
    ratio: float


@dataclass(frozen=True, slots=True)
class Filter:
    """A filter in a milk way, with a sock to be changed."""

    inlet: str
    outlet: str
    cows_a_sock: float


@dataclass(frozen=True, slots=True)
class ColdStore:
    """A circulating cold liquid, with ice where `store_kwh` is not nil; leaves at `leaving_c`.

    `glycol_pct` is propylene glycol by volume; None where it is not stated.
    """

    out: str
    litres: float
    leaving_c: float
    store_kwh: float = 0.0
    glycol_pct: float | None = None


@dataclass(frozen=True, slots=True)
class HoldsCold:
    """A volume of a chilled circuit behind `port`; its heat is that of the bath it is joined to."""

    port: str
    volume_l: float


@dataclass(frozen=True, slots=True)
class Recovers:
    """Water in this vessel takes a share of the heat that refrigeration machines give off, up to
    `most_c`."""

    machines: tuple[str, ...]
    share: Figure
    most_c: Figure


@dataclass(frozen=True, slots=True)
class Chill:
    """Refrigeration. It cools its own bath, or what stands behind its port `at`."""

    duty_kw: float
    cop: float
    rated_ambient_c: float
    at: str = ""
    hours: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Cooled:
    """A stirred vessel that is kept at `set_c`, by refrigerant or by a bath behind `coolant_in`.

    With less than `stirred_from_l` in it, it is not stirred; it is then not cooled either, or where
    `still` cooled slowly by the wetted part of an evaporator that a guard keeps from frost.
    """

    set_c: float
    cooling_kw: float
    agitator_kw: float
    coolant_in: str = ""
    still: bool = False
    stirred_from_l: float | None = None


@dataclass(frozen=True, slots=True)
class Heated:
    """A vessel kept hot."""

    kw: float
    set_c: float
    electric: bool
    efficiency: float = 1.0


@dataclass(frozen=True, slots=True)
class Stalls:
    """Places where cows stand: a turning deck, or rows."""

    layout: Literal["rotary", "rows"]
    stalls: int
    rows: int
    turn_s: float
    closed_stalls: float
    stop_share: float


@dataclass(frozen=True, slots=True)
class Turns:
    """Turns the deck."""

    motor_kw: float
    count: int


@dataclass(frozen=True, slots=True)
class Gate:
    """Brings cows up from a yard."""

    motor_kw: float
    yard_cows: int | None


@dataclass(frozen=True, slots=True)
class Units:
    """Milking units: where milk enters the plant, and the air they let in."""

    milk: str
    withheld: str
    count: int
    air_l_min_free: float
    fall_air_l_min_free: float
    shut_off: bool


@dataclass(frozen=True, slots=True)
class TakesOff:
    """When a unit is removed."""

    threshold_kg_min: float
    delay_s: float
    limit_s: float | None


@dataclass(frozen=True, slots=True)
class EachCow:
    """Water (drawn at `port`) and compressed air used for each cow."""

    water_l: float = 0.0
    port: str = ""
    air_nl: float = 0.0


@dataclass(frozen=True, slots=True)
class MakesVacuum:
    """A vacuum pump."""

    capacity_l_min_free: float
    at_vacuum_kpa: float
    motor_kw: float
    variable: bool
    least_share: float


@dataclass(frozen=True, slots=True)
class HoldsVacuum:
    """The working vacuum."""

    set_kpa: float


@dataclass(frozen=True, slots=True)
class DrawsAir:
    """Air let into the vacuum while units milk, for each unit attached."""

    each_l_min_free: float


@dataclass(frozen=True, slots=True)
class MakesAir:
    """A compressor."""

    capacity_l_min_free: float
    motor_kw: float


@dataclass(frozen=True, slots=True)
class StoresAir:
    """A compressed-air receiver."""

    volume_l: float
    highest_bar: float
    lowest_bar: float
    serves_bar: float


@dataclass(frozen=True, slots=True)
class Batch:
    """A machine that works on lots of cloths; stage 0 washes, stage 1 dries."""

    stage: int
    load_kg: float
    cycle_min: float
    kw: float
    count: int = 1
    water_l: float = 0.0
    water: str = ""


@dataclass(frozen=True, slots=True)
class Draw:
    """Takes a quantity of the milk of each milking."""

    litres: float


@dataclass(frozen=True, slots=True)
class Tanker:
    """Where tankers load."""

    load_l_min: float
    direct: bool


@dataclass(frozen=True, slots=True)
class WashVessel:
    """Where wash is made up: water comes in at `supply`, waste leaves at `drain`."""

    supply: str
    drain: str


@dataclass(frozen=True, slots=True)
class Doses:
    """Doses a product into the wash."""

    ml_l: float


@dataclass(frozen=True, slots=True)
class Load:
    """A steady electric load."""

    kw: float
    when: Literal["always", "milking"] = "always"


@dataclass(frozen=True, slots=True)
class Sense:
    """Measures something on a machine."""

    measures: str
    on: str


Primitive = (
    Vessel | Loss | Pump | Runs | Float | Exchange | Filter | ColdStore | HoldsCold | Recovers
    | Chill | Cooled | Heated | Stalls | Turns | Gate | Units | TakesOff | EachCow | MakesVacuum
    | HoldsVacuum | DrawsAir | MakesAir | StoresAir | Batch | Draw | Tanker | WashVessel | Doses
    | Load | Sense
)  # fmt: skip

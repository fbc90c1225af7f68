"""Invented plants for tests, built in code and kept small; no farm of the real world.

`rotary()` is a typical twin-receiver rotary with everything on it; `rows()` has fixed stalls.
Both take what a test wants to vary and return an immutable `Plant`.
"""

from __future__ import annotations

from typing import Any

from byrewright.plant.farm import (
    Cleaning,
    Collection,
    Group,
    Herd,
    Milking,
    MilkOutTime,
    Site,
    Supply,
    Tariff,
)
from byrewright.plant.machine import Machine, kinds
from byrewright.plant.plant import Mode, Pipe, Plant

WATER_C = (7.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 12.0, 11.0, 10.0, 9.0, 8.0)
AMBIENT_C = (2.0, 3.0, 6.0, 9.0, 13.0, 17.0, 19.0, 19.0, 15.0, 11.0, 6.0, 3.0)


def machine(tag: str, kind: str, **fields: Any) -> Machine:
    """One machine of a kind."""
    return kinds()[kind](id=tag, **fields)


def pipe(tag: str, start: str, end: str, bore_mm: float = 63.5, length_m: float = 4.0) -> Pipe:
    """One pipe between two ports."""
    return Pipe(id=tag, start=start, end=end, bore_mm=bore_mm, length_m=length_m)


def farm(cows: int, milkings: int, herd_groups: int, withheld: int, yield_l_day: float,
         target_h: float, currency: str = "EUR") -> dict[str, Any]:  # fmt: skip
    """Site, herd, milkings, collections and cleaning of an invented farm."""
    each = [cows // herd_groups + (1 if i < cows % herd_groups else 0) for i in range(herd_groups)]
    starts = {1: ("06:00",), 2: ("05:00", "16:30"), 3: ("04:00", "12:00", "20:00")}[milkings]
    return {
        "site": Site(
            name="(invented) test farm", region="EU", altitude_m=140,
            water_temperature_c=WATER_C, ambient_c=AMBIENT_C, hottest_c=32, currency=currency,
            supply=Supply(tariff=(Tariff(start="06:00", price_kwh=0.24),
                                  Tariff(start="22:00", price_kwh=0.16))),
        ),
        "herd": Herd(
            cows=cows, yield_l_day=yield_l_day, yield_std_dev=0.25, cow_mass_kg=680,
            milk_out_time_s=MilkOutTime(mean=330, std_dev=80),
            groups=tuple(
                Group(name=f"group {i + 1}", cows=n, withheld_cows=withheld if i == 0 else 0)
                for i, n in enumerate(each)
            ),
        ),
        "milkings": tuple(
            Milking(name=f"milking {i + 1}", start=s, target_h=target_h, operators=3)
            for i, s in enumerate(starts)
        ),
        "collections": (Collection(at="11:00", tanker_l=28000),),
        "cleaning": Cleaning(washes_a_day=milkings),
    }  # fmt: skip


def rotary(
    stalls: int = 60,
    cows: int = 600,
    *,
    milkings: int = 2,
    groups: int = 4,
    withheld: int = 6,
    turn_s: float | None = None,
    yield_l_day: float = 30.0,
    target_h: float = 5.0,
    pump_control: str = "level_led",
    **changes: Any,
) -> Plant:
    """A rotary with twin receivers, balance tank, twin filters, plate cooler and two tanks.

    `changes` replaces machines by tag (a Machine) or leaves them out (None).
    """
    turn = turn_s or stalls * 8.0
    day_l = cows * yield_l_day
    litres_min = stalls / turn * 60 * yield_l_day / milkings
    pump = {"flow_l_min": round(litres_min * 1.6), "head_m": 15, "motor_kw": 2.2}
    size = 1000.0 * round(day_l * 1.1 / 2 / 1000 + 1)
    rooms = {
        "PF1": ("platform", {"stalls": stalls, "turn_s": turn, "rail_radius_m": 8.0}),
        "DU1": ("drive_unit", {"count": 3, "motor_kw": 1.5}),
        "GL1": ("rotary_gland", {}),
        "YG1": ("yard_gate", {"yard_cows": 300}),
        "MU1": ("milking_unit", {"count": stalls}),
        "AR1": ("automatic_removal", {"count": stalls}),
        "BF1": ("backflush", {"count": stalls}),
        "PU1": ("pulsator", {"count": stalls}),
        "WM1": ("withheld_vessel", {"volume_l": 600}),
        "ML1": ("milkline", {"bore_mm": 98, "slope_pct": 1.0, "length_m": 60}),
        "RC1": ("receiver", {"volume_l": 120, "led_at_l": 40, "stop_at_l": 15, "start_at_l": 60}),
        "RC2": ("receiver", {"volume_l": 120, "led_at_l": 40, "stop_at_l": 15, "start_at_l": 60}),
        "ST1": ("sanitary_trap", {"volume_l": 20}),
        "ST2": ("sanitary_trap", {"volume_l": 20}),
        "MP1": ("milk_pump", {**pump, "control": pump_control, "led_by": "RC1"}),
        "MP2": ("milk_pump", {**pump, "control": pump_control, "led_by": "RC2"}),
        "BT1": ("balance_tank", {"volume_l": 600, "led_at_l": 250}),
        "MP3": ("milk_pump", {**pump, "control": "level_led", "led_by": "BT1"}),
        "MP4": ("milk_pump", {**pump, "control": "level_led", "led_by": "BT1"}),
        "MF1": ("milk_filter", {"area_m2": 0.3, "while_running": True}),
        "MF2": ("milk_filter", {"area_m2": 0.3, "while_running": True}),
        "CF1": ("calf_feed", {"volume_l": 800, "draw_l_milking": 250}),
        "PC1": ("plate_cooler", {"area_m2": 40, "water_ratio": 2.0}),
        "V31": ("valve", {"duty": "fill", "moved_by": "air"}),
        "V32": ("valve", {"duty": "fill", "moved_by": "air"}),
        "V33": ("valve", {"duty": "fill", "moved_by": "air"}),
        "V34": ("valve", {"duty": "divert"}),
        "V40": ("valve", {"duty": "divert"}),
        "TK1": ("bulk_tank", {"volume_l": size, "cooling_kw": 60}),
        "TK2": ("bulk_tank", {"volume_l": size, "cooling_kw": 60}),
        "CU1": ("condensing_unit", {"duty_kw": 60}),
        "CU2": ("condensing_unit", {"duty_kw": 60}),
        "TB1": ("tanker_bay", {"direct": True}),
        "DT1": ("distribution_tank", {"volume_l": 400}),
        "PA1": ("pulsator_airline", {"bore_mm": 76, "length_m": 60}),
        "RG1": ("regulator", {"capacity_l_min_free": 6000, "set_vacuum_kpa": 42}),
        "VP1": ("vacuum_pump", {"capacity_l_min_free": 6200, "motor_kw": 15, "speed": "variable"}),
        "VP2": ("vacuum_pump", {"capacity_l_min_free": 6200, "motor_kw": 15, "speed": "variable"}),
        "NR1": ("non_return_valve", {}),
        "NR2": ("non_return_valve", {}),
        "WS1": ("water_source", {"flow_l_min": 400}),
        "WT1": ("water_tank", {"volume_l": 20000}),
        "LP1": ("liquid_pump", {"flow_l_min": 500, "head_m": 25, "motor_kw": 4}),
        "WF1": ("water_filter", {"flow_l_min": 500}),
        "WT2": ("water_tank", {"volume_l": 15000, "holds": "recovered"}),
        "WH1": ("water_heater", {"volume_l": 1500, "heater_kw": 36}),
        "TR1": ("wash_trough", {"volume_l": 900}),
        "DS1": ("doser", {}),
        "AI1": ("air_injector", {}),
        "FD1": ("floor_drain", {}),
        "AC1": ("air_compressor", {"capacity_l_min_free": 400, "motor_kw": 4}),
        "AC2": ("air_compressor", {"capacity_l_min_free": 400, "motor_kw": 4}),
        "AV1": ("air_receiver", {"volume_l": 500}),
        "CW1": ("cloth_washer", {"load_kg": 18, "motor_kw": 12}),
        "CD1": ("cloth_dryer", {"load_kg": 18, "motor_kw": 13}),
        "EM1": ("mains", {"supply_kva": 250}),
        "SB1": ("switchboard", {"fed_from": ("EM1",)}),
        "CT1": ("controller", {}),
    }  # fmt: skip
    equipment = {tag: machine(tag, kind, **fields) for tag, (kind, fields) in rooms.items()}
    for tag, one in equipment.items():
        if type(one).NEEDS_POWER:
            equipment[tag] = one.model_copy(update={"fed_from": ("SB1",)})
    for tag, other in changes.items():
        equipment.pop(tag, None) if other is None else equipment.__setitem__(tag, other)
    ends = [
        "MU1.milk ML1.units_1", "MU1.withheld WM1.milk", "ML1.receiver_1 RC1.milkline_1",
        "ML1.receiver_2 RC2.milkline_1", "RC1.vacuum ST1.receiver", "RC2.vacuum ST2.receiver",
        "ST1.vacuum GL1.deck_vacuum", "ST2.vacuum GL1.deck_vacuum", "GL1.fixed_vacuum DT1.line_1",
        "PU1.vacuum PA1.units_1", "PA1.supply_1 DT1.line_2", "RG1.vacuum DT1.line_3",
        "DT1.pump_1 NR1.inlet", "NR1.outlet VP1.inlet", "DT1.pump_2 NR2.inlet",
        "NR2.outlet VP2.inlet", "RC1.outlet MP1.inlet", "RC2.outlet MP2.inlet",
        "MP1.outlet GL1.deck_milk", "MP2.outlet GL1.deck_milk", "GL1.fixed_milk BT1.inlet_1",
        "BT1.outlet MP3.inlet", "BT1.outlet MP4.inlet", "MP3.outlet MF1.inlet",
        "MP4.outlet MF2.inlet", "MF1.outlet V40.a", "MF2.outlet V40.a", "V40.b PC1.milk_in",
        "V40.c CF1.milk", "PC1.milk_out V31.a", "PC1.milk_out V32.a", "PC1.milk_out V33.a",
        "PC1.milk_out V34.a", "V34.b TR1.return_1",
        "V31.b TK1.inlet_1", "V32.b TK2.inlet_1", "V33.b TB1.inlet_1", "TK1.outlet TB1.inlet_2",
        "TK2.outlet TB1.inlet_3", "CU1.refrigerant_out TK1.refrigerant_in",
        "TK1.refrigerant_out CU1.refrigerant_in", "CU2.refrigerant_out TK2.refrigerant_in",
        "TK2.refrigerant_out CU2.refrigerant_in", "WS1.outlet WT1.inlet_1",
        "WT1.outlet_1 LP1.inlet", "LP1.outlet WF1.inlet", "WF1.outlet PC1.water_in",
        "PC1.water_out WT2.inlet_1", "WT1.outlet_2 WH1.inlet", "WT2.outlet_1 TR1.supply_1",
        "WH1.outlet_1 TR1.supply_2", "DS1.outlet TR1.dose_1", "TR1.outlet_1 MU1.wash",
        "TR1.drain FD1.inlet_1", "WT2.overflow FD1.inlet_2", "AI1.outlet ML1.air",
        "AC1.outlet AV1.inlet_1", "AC2.outlet AV1.inlet_2", "WT1.outlet_3 CW1.water",
        "WT1.outlet_4 BF1.water",
    ]  # fmt: skip
    if "V40" in equipment:
        equipment["V40"] = machine("V40", "valve", duty="divert", ways=3)
    pipes = []
    for number, text in enumerate(ends, 1):
        start, end = text.split()
        if start.partition(".")[0] in equipment and end.partition(".")[0] in equipment:
            pipes.append(pipe(f"L{number}", start, end))
    runs = {m: "runs" for m in ("VP1", "VP2", "MP1", "MP2", "MP3", "MP4", "AC1", "LP1", "DU1")
            if m in equipment}  # fmt: skip
    fill = {"V31": "open", "V32": "closed", "V33": "closed", "V34": "closed", "V40": "to_b"}
    modes = {
        "milking": Mode(name="milking", does=("milking",),
                        positions={**runs, **fill, "MU1": "milks", "AC2": "ready"}),
        "calf": Mode(name="calf", does=("calf_draw",), like="milking", positions={"V40": "to_c"}),
        "second_tank": Mode(name="second_tank", does=("milking",), like="milking",
                            positions={"V31": "closed", "V32": "open"}),
        "direct": Mode(name="direct", does=("direct_load",), like="milking",
                       positions={"V31": "closed", "V33": "open"}),
        "wash": Mode(name="wash", does=("wash",),
                     positions={**runs, **fill, "V31": "closed", "V34": "open", "MU1": "washes",
                                "AI1": "pulses", "DS1": "runs"}),
        "idle": Mode(name="idle", does=("idle",),
                     positions={"MU1": "idle", "V31": "closed", "V34": "closed"}),
    }  # fmt: skip
    return Plant(
        byrewright=1, equipment=equipment, pipes=tuple(pipes), modes=modes,
        **farm(cows, milkings, groups, withheld, yield_l_day, target_h),
    )  # fmt: skip


def rows(stalls: int = 24, cows: int = 200, *, milkings: int = 2, withheld: int = 2,
         yield_l_day: float = 28.0, **changes: Any) -> Plant:  # fmt: skip
    """Fixed stalls in two rows, one receiver, one pump on/off, one tank, nothing doubled."""
    without = dict.fromkeys(
        ("DU1", "RC2", "ST2", "MP2", "MP4", "MF2", "VP2", "NR2", "CU2", "TK2", "V32", "AC2", "CF1")
    )
    plant = rotary(
        stalls, cows, milkings=milkings, groups=2, withheld=withheld, yield_l_day=yield_l_day,
        pump_control="on_off",
        PF1=machine("PF1", "platform", layout="rows", rows=2, stalls=stalls, turn_s=90),
        **without, **changes,
    )  # fmt: skip
    return plant

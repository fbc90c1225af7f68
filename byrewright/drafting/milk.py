"""Milk: line, receivers, pumps, balance tank, filters, calf and withheld milk, delivery, tanker."""

from __future__ import annotations

from byrewright.drafting.intent import PLANT_ROOM_M, Intent
from byrewright.drafting.sheet import Sheet

FIRST_BORES_MM = {"milk suction": 60.3, "delivery": 60.3, "fill line": 60.3, "collection line": 72.9, "calf line": 37.6,
                  "withheld line": 37.6, "drain": 37.6, "milkline outlet": 98.0, "wash return": 60.3}  # fmt: skip


def machines(sheet: Sheet, want: Intent) -> None:
    """Everything the milk passes, apart from coolers and tanks."""
    sheet.first_bore_mm.update(FIRST_BORES_MM)
    hand = {"moved_by": "hand", "sensed": want.sensed}
    air = {"moved_by": "air", "sensed": True, "air_from": "AV1", "controlled_by": "CT1"}
    sheet.add("milkline", "ML1", bore_mm=98.0, slope_pct=1.2, length_m=want.ring_m, looped=True,
              why={"bore_mm": "first guess", "slope_pct": "above the 0.5-1 % minimum in the published notes",
                   "length_m": "round the stalls" if want.rotary else "along the rows",
                   "looped": "loops are preferable: air goes both ways"})  # fmt: skip
    for n in range(1, want.receivers + 1):
        sheet.add("receiver", f"RC{n}", volume_l=100.0, led_at_l=40.0, start_at_l=55.0, stop_at_l=20.0, twins="receivers",
                  why={"volume_l": "first guess", "led_at_l": "about 40 % full", "start_at_l": "if run on/off",
                       "stop_at_l": "if run on/off"})  # fmt: skip
        sheet.add("valve", f"V2{n}", label=f"Receiver {n} outlet", normally="open", **hand)
        sheet.add("valve", f"V8{n}", label=f"Receiver {n} drain", duty="drain", bore_mm=38.0,
                  why={"bore_mm": "common size"}, **hand)  # fmt: skip
        sheet.add(
            "sensor",
            f"SN1{n}",
            label=f"Receiver {n} level",
            measures="level",
            on=f"RC{n}",
            controlled_by="CT1",
        )
    if want.receivers == 2:
        sheet.add("valve", "V25", label="Flooded line between receivers", **hand)
    if want.receivers == 1:
        sheet.add("header", "HM1", label="Milk pump suction")
    sheet.add("header", "HM2", label="Milk pump delivery")
    pumps = (1, 2) if want.twin or want.receivers == 2 else (1,)
    for n in pumps:
        leader = f"RC{n}" if want.receivers == 2 else "RC1"
        sheet.add("milk_pump", f"MP{n}", flow_l_min=200.0, head_m=15.0, motor_kw=1.5, control="level_led", led_by=leader,
                  fed_from=f"SB{n + 1}", controlled_by="CT1", twins="receiver milk pumps",
                  why={"flow_l_min": "first guess", "head_m": "first guess", "motor_kw": "first guess",
                       "control": "even flow to the cooler", "led_by": "its own receiver"})  # fmt: skip
        sheet.add("non_return_valve", f"NR1{n}", label="Non-return at milk pump")
    sheet.add("balance_tank", "BT1", volume_l=500.0, led_at_l=200.0,
              why={"volume_l": "first guess", "led_at_l": "about 40 % full"})  # fmt: skip
    sheet.add(
        "sensor",
        "SN13",
        label="Balance tank level",
        measures="level",
        on="BT1",
        controlled_by="CT1",
    )
    sheet.add("header", "HM3", label="Delivery pump suction")
    sheet.add("header", "HM4", label="Before the filters")
    sheet.add("header", "HM5", label="After the filters")
    for place, n in enumerate((3, 4) if want.twin else (3,)):
        sheet.add("milk_pump", f"MP{n}", flow_l_min=180.0, head_m=20.0, motor_kw=2.2, control="level_led", led_by="BT1",
                  fed_from=f"SB{place + 2}", controlled_by="CT1", twins="delivery pumps",
                  why={"flow_l_min": "first guess", "head_m": "first guess", "motor_kw": "first guess",
                       "control": "the balance tank's level leads it, so that the cooler sees an even flow",
                       "led_by": "the balance tank"})  # fmt: skip
        sheet.add("non_return_valve", f"NR1{n}", label="Non-return at delivery pump")
    for n in (1, 2) if want.twin else (1,):
        sheet.add("milk_filter", f"MF{n}", area_m2=0.3, while_running=want.twin, twins="milk filters",
                  why={"area_m2": "first guess", "while_running": "one is changed while the other filters"})  # fmt: skip
        sheet.add(
            "valve",
            f"V3{2 * n - 1}",
            label=f"Filter {n} inlet",
            normally="open" if n == 1 else "closed",
            **hand,
        )
        sheet.add(
            "valve",
            f"V3{2 * n}",
            label=f"Filter {n} outlet",
            normally="open" if n == 1 else "closed",
            **hand,
        )
    if want.calf_l_day > 0:
        a_milking = round(want.calf_l_day / len(want.milkings), 0)
        sheet.add("calf_feed", "CF1", volume_l=max(100.0, a_milking * 1.2), draw_l_milking=a_milking,
                  why={"volume_l": "one milking's draw and a fifth", "draw_l_milking": "calf milk of the brief by milking"})  # fmt: skip
        sheet.add(
            "valve", "V38", label="Calf-milk take-off", duty="divert", on_loss="closes", **air
        )
    sheet.add("valve", "V40", label="Milk to tanks, or wash return", ways=3, duty="divert", on_loss="to_c", normally="to_c",
              why={"ways": "one of the two is always shut"}, **air)  # fmt: skip
    sheet.add("valve", "V46", label="Leak drain of the fill line", duty="drain", on_loss="opens", bore_mm=25.0,
              normally="open", why={"bore_mm": "small: shows a passing seat, drains unpressurised"}, **air)  # fmt: skip
    sheet.add("header", "HM6", label="Fill header")
    sheet.add("sensor", "SN41", label="Milk flow after the cooler", measures="flow", on="PC1", at_port="milk_out",
              controlled_by="CT1")  # fmt: skip
    sheet.add("sensor", "SN42", label="Milk temperature after the cooler", measures="temperature", on="PC1",
              at_port="milk_out", controlled_by="CT1")  # fmt: skip
    sheet.add("sensor", "SN43", label="Conductivity at the divert: milk or wash", measures="conductivity", on="V40",
              controlled_by="CT1")  # fmt: skip
    sheet.add("tanker_bay", "TB1", direct=want.direct, why={"direct": "stated in the brief"})
    sheet.add("floor_drain", "FD1", label="Floor drain")
    sheet.add(
        "valve",
        "V83",
        label="Balance tank drain",
        duty="drain",
        bore_mm=38.0,
        why={"bore_mm": "common size"},
        **hand,
    )
    sheet.add(
        "valve",
        "V84",
        label="Milkline low-point drain",
        duty="drain",
        bore_mm=38.0,
        why={"bore_mm": "common size"},
        **hand,
    )
    sheet.add(
        "valve",
        "V85",
        label="Delivery low-point drain",
        duty="drain",
        bore_mm=25.0,
        why={"bore_mm": "common size"},
        **hand,
    )
    if want.withheld:
        sheet.add("withheld_vessel", "WM1", volume_l=100.0, way="bucket",
                  why={"volume_l": "a few cows' milk before it is emptied", "way": "no valve shared with the tank's milk"})  # fmt: skip


def lines(sheet: Sheet, want: Intent) -> None:
    """The milk and drain lines."""
    centre = "assumed at the centre of the deck" if want.rotary else "assumed at the pit"
    sheet.line(
        "milk",
        "MU1.milk",
        "ML1.units_1",
        family="milkline outlet",
        length_m=0.5,
        bends=0,
        why="at each stall",
    )
    for n in range(1, want.receivers + 1):
        sheet.line("milk", f"ML1.receiver_{n}", f"RC{n}.milkline_1", family="milkline outlet",
                   length_m=max(2.0, want.radius_m - 1.5) if want.rotary else 2.0, slope_pct=2.0, why=centre)  # fmt: skip
        sheet.line("milk", f"RC{n}.outlet", f"V2{n}", "HM1" if want.receivers == 1 else f"MP{n}", family="milk suction",
                   length_m=0.6, bends=1, why=centre)  # fmt: skip
        sheet.line("drain", f"RC{n}.drain", f"V8{n}", f"FD1.inlet_{n + 1}", family="drain", length_m=0.8, bends=1,
                   slope_pct=2.0, why=centre)  # fmt: skip
    if want.receivers == 2:
        sheet.line(
            "milk",
            "RC1.balance",
            "V25",
            "RC2.balance",
            family="milk suction",
            length_m=0.8,
            bends=1,
            why=centre,
        )
    for n in (1, 2) if want.twin or want.receivers == 2 else (1,):
        if want.receivers == 1:
            sheet.line(
                "milk", "HM1", f"MP{n}", family="milk suction", length_m=0.5, bends=1, why=centre
            )
        sheet.line(
            "milk", f"MP{n}", f"NR1{n}", "HM2", family="delivery", length_m=0.6, bends=1, why=centre
        )
    sheet.line(
        "drain", "HM2", "V85", "FD1.inlet_5", family="drain", length_m=0.5, bends=1, why=centre
    )
    far = "assumed 18 m to the plant room"
    if want.rotary:
        sheet.line("milk", "HM2", "GL1.deck_milk", family="delivery", length_m=2.0, why=centre)
        sheet.line("milk", "GL1.fixed_milk", "BT1.inlet_1", family="delivery", length_m=PLANT_ROOM_M, bends=4, rise_m=1.0,
                   why=far)  # fmt: skip
    else:
        sheet.line(
            "milk",
            "HM2",
            "BT1.inlet_1",
            family="delivery",
            length_m=PLANT_ROOM_M,
            bends=4,
            rise_m=1.0,
            why=far,
        )
    sheet.line(
        "milk",
        "BT1.outlet",
        "HM3",
        family="milk suction",
        length_m=0.6,
        bends=1,
        why="in the plant room",
    )
    for n in (3, 4) if want.twin else (3,):
        sheet.line(
            "milk",
            "HM3",
            f"MP{n}",
            family="milk suction",
            length_m=0.5,
            bends=1,
            why="in the plant room",
        )
        sheet.line(
            "milk",
            f"MP{n}",
            f"NR1{n}",
            "HM4",
            family="delivery",
            length_m=0.6,
            bends=1,
            why="in the plant room",
        )
    for n in (1, 2) if want.twin else (1,):
        sheet.line("milk", "HM4", f"V3{2 * n - 1}", f"MF{n}", f"V3{2 * n}", "HM5", family="delivery", length_m=0.4, bends=1,
                   why="in the plant room")  # fmt: skip
    sheet.line("drain", "BT1.drain", "V83", "FD1.inlet_6", family="drain", length_m=0.6, bends=1, slope_pct=2.0,
               why="in the plant room")  # fmt: skip
    sheet.line(
        "drain",
        "ML1.drain_1",
        "V84",
        "FD1.inlet_7",
        family="drain",
        length_m=0.6,
        bends=1,
        slope_pct=2.0,
        why=centre,
    )
    if want.calf_l_day > 0:
        sheet.line(
            "milk",
            "HM5",
            "V38",
            "CF1.milk",
            family="calf line",
            length_m=4.0,
            why="assumed beside the plant room",
        )
    sheet.line(
        "milk", "HM5", "PC1.milk_in", family="delivery", length_m=1.0, why="in the plant room"
    )
    sheet.line(
        "milk", "PC1.milk_out", "V40.a", family="delivery", length_m=1.0, why="in the plant room"
    )
    sheet.line(
        "milk",
        "V40.b",
        "HM6",
        family="fill line",
        length_m=2.0,
        rise_m=want.site.lift_m,
        why="in the plant room",
    )
    sheet.line(
        "drain",
        "HM6",
        "V46",
        "FD1.inlet_8",
        family="drain",
        length_m=0.5,
        bends=1,
        why="in the plant room",
    )
    if want.withheld:
        sheet.line(
            "milk",
            "MU1.withheld",
            "WM1.milk",
            family="withheld line",
            length_m=1.5,
            bends=0,
            why="bucket unit",
        )
        sheet.line(
            "vacuum",
            "WM1.vacuum",
            "HV1",
            family="withheld air line",
            length_m=3.0,
            bends=1,
            why="bucket unit",
        )


def storage(sheet: Sheet, want: Intent) -> None:
    """Fill, collection and sampling at each tank, and direct loading."""
    air = {"moved_by": "air", "sensed": True, "air_from": "AV1", "controlled_by": "CT1"}
    hand = {"moved_by": "hand", "sensed": want.sensed}
    sheet.add("header", "HM7", label="Collection header")
    for n in range(1, want.tanks + 1):
        sheet.add("valve", f"V4{n}", label=f"Fill tank {n}", duty="fill", on_loss="closes", **air)
        sheet.add("valve", f"V5{n}", label=f"Tank {n} outlet", duty="outlet", **hand)
        sheet.add("valve", f"V5{n + 4}", label=f"Tank {n} to tanker, or to drain", ways=3, duty="divert", normally="to_b",
                  **hand)  # fmt: skip
        sheet.add("valve", f"VS{n}", label=f"Tank {n} sample cock", duty="sample", bore_mm=10.0,
                  why={"bore_mm": "common size"}, **hand)  # fmt: skip
        sheet.add(
            "sensor",
            f"SN5{n}",
            label=f"Tank {n} level",
            measures="level",
            on=f"TK{n}",
            controlled_by="CT1",
        )
        sheet.add("sensor", f"SN5{n + 4}", label=f"Tank {n} temperature", measures="temperature", on=f"TK{n}",
                  controlled_by="CT1")  # fmt: skip
        room = "in the milk room"
        sheet.line(
            "milk", "HM6", f"V4{n}", f"TK{n}.inlet_1", family="fill line", length_m=4.0, why=room
        )
        sheet.line(
            "milk",
            f"TK{n}.outlet",
            f"V5{n}",
            f"V5{n + 4}.a",
            family="collection line",
            length_m=0.5,
            bends=0,
            why=room,
        )
        sheet.line("milk", f"V5{n + 4}.b", "HM7", family="collection line", length_m=4.0, why=room)
        sheet.line(
            "drain",
            f"V5{n + 4}.c",
            f"FD1.inlet_{20 + n}",
            family="drain",
            length_m=0.5,
            bends=0,
            why=room,
        )
        sheet.line("milk", f"TK{n}.sample", f"VS{n}", f"FD1.inlet_{30 + n}", family="drain", length_m=0.3, bends=0,
                   why="cock over the floor")  # fmt: skip
    sheet.line(
        "milk",
        "HM7",
        "TB1.inlet_1",
        family="collection line",
        length_m=8.0,
        why="assumed 8 m to the tanker bay",
    )
    if want.direct:
        sheet.add(
            "valve", "V49", label="Direct to the tanker", duty="fill", on_loss="closes", **air
        )
        sheet.line(
            "milk",
            "HM6",
            "V49",
            "TB1.inlet_2",
            family="fill line",
            length_m=8.0,
            why="assumed 8 m to the tanker bay",
        )

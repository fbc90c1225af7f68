"""Milk: line, receivers, pumps, balance tank, filters, calf and withheld milk, delivery, tanker."""

from __future__ import annotations

from byrewright.drafting.intent import Intent
from byrewright.drafting.sheet import Sheet
from byrewright.drafting.valves import HOLDS, by_air, by_hand, low_point

FIRST_BORES_MM = {
    "milk tube": 16.0,
    "sample": 10.0,
    "milk suction": 60.3,
    "delivery": 60.3,
    "way round": 60.3,
    "fill line": 60.3,
    "collection line": 72.9,
    "calf line": 37.6,
    "withheld line": 37.6,
    "drain": 37.6,
    "milkline outlet": 98.0,
    "wash return": 60.3,
}

DRAINS = "a drain at its casing, the lowest point of its line"


def machines(sheet: Sheet, want: Intent) -> None:
    """Everything the milk passes, apart from coolers and tanks."""
    sheet.first_bore_mm.update(FIRST_BORES_MM | {"calf drain": want.calf_drain_mm})
    _milkline(sheet, want)
    _receivers(sheet, want)
    _receiver_pumps(sheet, want)
    _balance_tank(sheet, want)
    _filters(sheet, want)
    if want.calf_l_day > 0:
        _calf_milk(sheet, want)
    _fills(sheet, want)
    _past_the_cooler(sheet)
    sheet.add("tanker_bay", "TB1", direct=want.direct, why={"direct": "stated in the brief"})
    sheet.add("floor_drain", "FD1", label="Floor drain")
    for tag, label in (
        ("V83", "Balance tank drain"),
        ("V84", "Milkline low-point drain"),
        ("V85", "Delivery low-point drain"),
        ("V86", "Drain after the filters"),
    ):
        low_point(sheet, want, tag, label)
    for n in range(1, 5):
        sheet.sense(f"SN3{n}", "current", f"MP{n}", f"Milk pump {n} runs")
    if want.withheld:
        sheet.add(
            "withheld_vessel",
            "WM1",
            volume_l=100.0,
            way="bucket",
            why={
                "volume_l": "a few cows' milk before it is emptied",
                "way": "no valve shared with the tank's milk",
            },
        )


def _milkline(sheet: Sheet, want: Intent) -> None:
    sheet.add(
        "milkline",
        "ML1",
        bore_mm=98.0,
        slope_pct=1.2,
        length_m=want.ring_m,
        looped=True,
        why={
            "bore_mm": "first guess",
            "slope_pct": "above the 0.5-1 % minimum in the published notes",
            "length_m": "round the stalls" if want.rotary else "along the rows",
            "looped": "loops are preferable: air goes both ways",
        },
    )


def _receivers(sheet: Sheet, want: Intent) -> None:
    for n in range(1, want.receivers + 1):
        sheet.add(
            "receiver",
            f"RC{n}",
            volume_l=100.0,
            led_at_l=40.0,
            start_at_l=55.0,
            stop_at_l=20.0,
            twins="receivers",
            why={
                "volume_l": "first guess",
                "led_at_l": "about 40 % full",
                "start_at_l": "if run on/off",
                "stop_at_l": "if run on/off",
            },
        )
        by_hand(sheet, want, f"V2{n}", f"Receiver {n} outlet", normally="open")
        low_point(sheet, want, f"V8{n}", f"Receiver {n} drain")
        sheet.sense(f"SN1{n}", "level", f"RC{n}", f"Receiver {n} level")
    if want.receivers == 2:
        by_hand(sheet, want, "V25", "Flooded line between receivers")
    if want.receivers == 1:
        sheet.add("header", "HM1", label="Milk pump suction")


def _receiver_pumps(sheet: Sheet, want: Intent) -> None:
    sheet.add("header", "HM2", label="Milk pump delivery")
    for n in (1, 2) if want.twin or want.receivers == 2 else (1,):
        leader = f"RC{n}" if want.receivers == 2 else "RC1"
        _milk_pump(
            sheet, n, (200.0, 15.0, 1.5), f"SB{n + 1}", "receiver milk pumps",
            leader, "its own receiver", "even flow to the cooler", "Non-return at milk pump",
        )  # fmt: skip


def _balance_tank(sheet: Sheet, want: Intent) -> None:
    sheet.add(
        "balance_tank",
        "BT1",
        volume_l=500.0,
        led_at_l=200.0,
        why={"volume_l": "first guess", "led_at_l": "about 40 % full"},
    )
    sheet.sense("SN13", "level", "BT1", "Balance tank level")
    sheet.add("header", "HM3", label="Delivery pump suction")
    sheet.add("header", "HM4", label="Before the filters")
    sheet.add("header", "HM5", label="After the filters")
    for n in (3, 4) if want.twin else (3,):
        _milk_pump(
            sheet, n, (180.0, 20.0, 2.2), f"SB{n - 1}", "delivery pumps",
            "BT1", "the balance tank", "the balance tank leads it: the cooler sees an even flow",
            "Non-return at delivery pump",
        )  # fmt: skip


def _milk_pump(sheet: Sheet, n: int, first: tuple[float, float, float], board: str, twins: str,
               leader: str, why_led: str, why_control: str, non_return: str) -> None:  # fmt: skip
    """A milk pump and its non-return valve; `first` guesses flow L/min, head m and motor kW."""
    flow_l_min, head_m, motor_kw = first
    sheet.add(
        "milk_pump",
        f"MP{n}",
        flow_l_min=flow_l_min,
        head_m=head_m,
        motor_kw=motor_kw,
        control="level_led",
        led_by=leader,
        fed_from=board,
        controlled_by="CT1",
        twins=twins,
        drains=True,
        why={
            "drains": DRAINS,
            "flow_l_min": "first guess",
            "head_m": "first guess",
            "motor_kw": "first guess",
            "control": why_control,
            "led_by": why_led,
        },
    )
    sheet.add("non_return_valve", f"NR1{n}", label=non_return)


def _filters(sheet: Sheet, want: Intent) -> None:
    for n in want.filters:
        sheet.add(
            "milk_filter",
            f"MF{n}",
            area_m2=0.3,
            while_running=len(want.filters) > 1,
            twins="milk filters",
            why={
                "area_m2": "first guess",
                "while_running": "one is changed while the other filters",
            },
        )
        usual = "open" if n == 1 else "closed"
        by_hand(sheet, want, f"V3{2 * n - 1}", f"Filter {n} inlet", normally=usual)
        by_hand(sheet, want, f"V3{2 * n}", f"Filter {n} outlet", normally=usual)


def _calf_milk(sheet: Sheet, want: Intent) -> None:
    a_milking = round(want.calf_l_day / len(want.milkings), 0)
    sheet.add(
        "calf_feed",
        "CF1",
        volume_l=max(100.0, a_milking * 1.2),
        draw_l_milking=a_milking,
        why={
            "volume_l": "one milking's draw and a fifth",
            "draw_l_milking": "calf milk of the brief by milking",
        },
    )
    by_air(sheet, "V38", "Calf-milk take-off", duty="divert", on_loss="closes")
    by_hand(
        sheet, want, "V37", "Calf-milk vessel drain", duty="drain", bore_mm=want.calf_drain_mm,
        why={"bore_mm": "wide: lets the wash of the vessel out by gravity"}, sensed=True,
    )  # fmt: skip


def _fills(sheet: Sheet, want: Intent) -> None:
    """The divert to each tank, or the tanker, with its leak drain."""
    for fill in want.fills:
        last = fill == want.fills[-1]
        by_air(
            sheet, fill.divert, f"Milk to {fill.where}, or {'wash return' if last else 'on'}",
            ways=3, duty="divert", on_loss="stays", normally="to_c",
            why={"on_loss": HOLDS, "ways": "one of the two is always shut"},
        )  # fmt: skip
        by_air(
            sheet, fill.bleed, f"Leak drain before {fill.where}", duty="drain", on_loss="stays",
            bore_mm=25.0, normally="open",
            why={
                "on_loss": HOLDS,
                "bore_mm": "small: shows a passing seat, drains unpressurised",
            },
        )  # fmt: skip
        sheet.add("header", fill.header, label=f"Fill stub of {fill.where}")
    if want.direct:
        by_air(
            sheet, "V49", "Shut-off at the coupling", duty="fill", on_loss="closes",
            why={"on_loss": "with the divert, two valves between wash and a coupled tanker"},
        )  # fmt: skip


def _past_the_cooler(sheet: Sheet) -> None:
    """The way round the cooler, and what is measured behind it."""
    sheet.add("header", "HM8", label="After the cooler")
    by_air(
        sheet, "V39", "Way round the cooler for the wash, or for a blocked cooler", duty="divert",
        on_loss="closes", why={"on_loss": "milk passes the cooler when air or signal is lost"},
    )  # fmt: skip
    for tag, measures in (("SN41", "flow"), ("SN42", "temperature")):
        sheet.add(
            "sensor",
            tag,
            label=f"Milk {measures} after the cooler",
            measures=measures,
            on="PC1",
            at_port="milk_out",
            controlled_by="CT1",
        )
    sheet.sense("SN43", "conductivity", "V40", "Conductivity at the divert: milk or wash")

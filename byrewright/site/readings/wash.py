"""What records of a wash say: its stages, the detergent, and slugs by the receiver's vacuum."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from byrewright.results import Table
from byrewright.site.readings.figure import Measured, unfit
from byrewright.site.readings.files import ReadFile, Reading
from byrewright.traces.hidden import RINSED, SLUG_KPA, WASHES, detergent, slugs
from byrewright.traces.temperature import above_s, stages
from byrewright.traces.trace import TraceUnfit


def study_wash(measured: Measured, files: Sequence[ReadFile]) -> None:
    """Work the records of washes out."""
    every = [r for f in files for r in f.readings]
    _temperatures(measured, [r for r in every if r.channel.quantity == "wash_return_temperature"])
    _detergent(measured, [r for r in every if r.channel.quantity == "wash_return_conductivity"])
    for file in files:
        _slugs(measured, file)


def _temperatures(measured: Measured, channels: Sequence[Reading]) -> None:
    rows: list[tuple[float | str, ...]] = []
    for one in channels:
        found = stages(one.trace)
        rows += [
            (one.channel.at, round(s.start_s / 60, 1), round((s.end_s - s.start_s) / 60, 1),
             round(s.warmest_c, 1), round(s.mean_c, 1), round(s.end_c, 1))
            for s in found
        ]  # fmt: skip
        if not found:
            unfit(measured, one, TraceUnfit("no stage of a minute or more is in it"), "wash")
            continue
        hot = max(found, key=lambda s: s.mean_c)
        owner = measured.predicts("wash.end_temperature", one.channel.at)
        measured.add(
            "wash_return", "Return of the hot wash at its end", hot.end_c, "degC",
            one.channel.uncertainty if one.channel.uncertainty is not None else 1.0,
            f"The hot wash returned at {hot.warmest_c:.1f} degC at best and {hot.end_c:.1f} degC "
            f"at its end, after {(hot.end_s - hot.start_s) / 60:.1f} min.",
            of=one, limit=owner.limit if owner else None,
            sense="at_least" if owner and owner.limit is not None else "informational",
            predicts="wash.end_temperature", formula="mean of the last 20 s of the hottest stage",
        )  # fmt: skip
        if owner is not None and owner.limit is not None:
            minutes = above_s(one.trace, owner.limit) / 60.0
            measured.add(
                "wash_above", f"Time at {owner.limit:g} degC or more", minutes, "min", 0.1,
                f"The return was at {owner.limit:g} degC or more for {minutes:.1f} min.", of=one,
                formula="time at or above the temperature needed",
            )  # fmt: skip
    if rows:
        measured.ctx.notes.tables.append(
            Table(
                "wash_stages", "Stages of the wash",
                ("at", "from", "lasts", "warmest", "mean", "at its end"),
                ("", "min", "min", "degC", "degC", "degC"), tuple(rows),
            )
        )  # fmt: skip


def _slugs(measured: Measured, file: ReadFile) -> None:
    """Slugs of a wash by the receiver's vacuum, where one file holds both."""
    receiver = next((r for r in file.readings if r.channel.quantity == "vacuum"), None)
    returned = next(
        (r for r in file.readings if r.channel.quantity == "wash_return_temperature"), None
    )
    if receiver is None or returned is None:
        return
    found = stages(returned.trace)
    if not found:
        return
    start, end = found[0].start_s, found[-1].end_s
    try:
        seen = slugs(receiver.trace, start, end)
    except TraceUnfit as error:
        unfit(measured, receiver, error, "wash_slugs")
        return
    apart = f", one every {median(b - a for a, b in pairwise(seen)):.0f} s" if len(seen) > 2 else ""
    measured.add(
        "wash_slugs", "Slugs of the wash at the receiver", float(len(seen)), "", 1.0,
        f"{len(seen)} slugs reached {receiver.channel.at} in {(end - start) / 60:.1f} min of "
        f"wash{apart}.",
        of=receiver, formula=f"times the vacuum fell by {SLUG_KPA:g} kPa or more during the wash "
        "(our choice)",
    )  # fmt: skip


def _detergent(measured: Measured, channels: Sequence[Reading]) -> None:
    for one in channels:
        try:
            found = detergent(one.trace)
        except TraceUnfit as error:
            unfit(measured, one, error, "detergent")
            continue
        measured.add(
            "detergent", "Time with detergent in the return", found.washes_s / 60.0, "min", 0.1,
            f"Detergent returned for {found.washes_s / 60:.1f} min, at {found.strongest:.2f} mS/cm "
            f"beside {found.water:.2f} of the water.",
            of=one, formula=f"time at {100 * WASHES:.0f} % of the way from water to detergent or "
                            f"more "
            "(our choice)",
        )  # fmt: skip
        left = 100.0 * (found.last - found.water) / (found.strongest - found.water)
        measured.add(
            "detergent_left", "Detergent left at the end of the wash", left, "%", 0.1,
            f"At the end the return is at {found.last:.2f} mS/cm, {left:.0f} % of the way from "
            f"water to detergent: it is {'' if found.rinsed else 'not '}rinsed out.",
            of=one, limit=100.0 * RINSED, sense="at_most",
            formula="(last - water) / (strongest - water) (our choice)",
        )  # fmt: skip

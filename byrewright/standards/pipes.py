"""Tubes and airlines that can be bought: outside diameter, wall, bore."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.standards.cooling import lies_in
from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("pipe.roughness_stainless_mm", 0.015, "mm", "roughness of stainless dairy tube",
          "practice", "from_memory", "typical", 0.0008, 0.05),
    Value("pipe.roughness_plastic_mm", 0.0015, "mm", "roughness of plastic pipe", "practice",
          "from_memory", "typical", 0.0, 0.007),
    Value("pipe.roughness_galvanised_mm", 0.15, "mm", "roughness of galvanised steel", "practice",
          "from_memory", "typical", 0.1, 0.2),
    Value("pipe.velocity_water_m_s", 1.5, "m/s", "velocity in water pipes", "practice",
          "common_practice", "typical", 0.5, 2.0),
    Value("pipe.velocity_air_line_m_s", 6.0, "m/s", "velocity in compressed-air mains", "practice",
          "common_practice", "typical", 3.0, 8.0),
    Value("pipe.cutting_share", 0.10, "", "pipe cut to waste, share of the metres drawn",
          "practice", "common_practice", "typical", 0.05, 0.15),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tube:
    """One size of tube."""

    series: str
    od_mm: float
    wall_mm: float

    @property
    def bore_mm(self) -> float:
        """Inside diameter, mm.

        >>> Tube("ISO 2037", 51.0, 1.2).bore_mm
        48.6
        """
        return round(self.od_mm - 2 * self.wall_mm, 3)


ISO_2037: tuple[Tube, ...] = tuple(
    Tube("ISO 2037", od, wall)
    for od, wall in (
        (25.0, 1.2), (33.7, 1.2), (38.0, 1.2), (40.0, 1.2), (51.0, 1.2), (63.5, 1.6), (70.0, 1.6),
        (76.1, 1.6), (88.9, 2.0), (101.6, 2.0), (114.3, 2.0), (139.7, 2.0), (168.3, 2.6),
        (219.1, 2.6),
    )
)  # fmt: skip
ASME_BPE: tuple[Tube, ...] = tuple(
    Tube("ASME BPE", od, wall)
    for od, wall in (
        (12.7, 1.65), (19.05, 1.65), (25.4, 1.65), (38.1, 1.65), (50.8, 1.65), (63.5, 1.65),
        (76.2, 1.65), (101.6, 2.11), (152.4, 2.77),
    )
)  # fmt: skip

LEAST_MILK_OD_MM = 38.0
"""Least outside of the tube of a fixed milk line (common practice, no source)."""
GAUGE_MM = 3.0
"""By so much the bore of a tube may be less than that of its likeness in another series."""


def dairy_tubes(region: str) -> tuple[Tube, ...]:
    """The dairy tubes that are sold in a region: by inches in the US, else those of ISO 2037.

    >>> dairy_tubes("US-California")[-1].od_mm, dairy_tubes("EU")[0].od_mm
    (152.4, 25.0)
    """
    return ASME_BPE if lies_in(region, "US") else ISO_2037


def least_milk_bore_mm(tubes: tuple[Tube, ...]) -> float:
    """Least bore of a fixed milk line.

    >>> least_milk_bore_mm(ISO_2037), least_milk_bore_mm(ASME_BPE)
    (35.6, 34.8)
    """
    return min(tube.bore_mm for tube in tubes if tube.od_mm >= LEAST_MILK_OD_MM)


def sold_as_mm(bore_mm: float, region: str) -> float:
    """The bore of the region's tube that stands for one of ISO 2037; any other bore as it is.

    >>> sold_as_mm(37.6, "US"), sold_as_mm(84.9, "US"), sold_as_mm(60.0, "US")
    (34.8, 97.38, 60.0)
    """
    if bore_mm not in {tube.bore_mm for tube in ISO_2037}:
        return bore_mm
    like = next_tube(bore_mm - GAUGE_MM, dairy_tubes(region)) if lies_in(region, "US") else None
    return like.bore_mm if like else bore_mm


AIRLINE_BORES_MM: tuple[float, ...] = (
    38.0, 50.0, 60.0, 73.0, 98.0, 110.0, 125.0, 150.0, 200.0, 250.0,
)  # fmt: skip
"""Bores of airlines, plastic or galvanised; 250 mm in the largest parlours (common practice, no
source)."""
PIPE, OUTSIDE = "", " OD"
TRADE_IN: Mapping[tuple[str, str], tuple[float, ...]] = {
    ("3/8", PIPE): (10.0,), ("1/2", PIPE): (15.0,), ("3/4", PIPE): (20.0,), ("1", PIPE): (25.0,),
    ("1 1/4", PIPE): (32.0,), ("1 1/2", PIPE): (40.0, 38.0), ("2", PIPE): (50.0,),
    ("2 1/2", PIPE): (65.0,), ("3", PIPE): (80.0,), ("4", PIPE): (100.0,), ("5", PIPE): (125.0,),
    ("6", PIPE): (150.0,), ("8", PIPE): (200.0,), ("10", PIPE): (250.0,),
    ("1/2", OUTSIDE): (9.4,), ("3/4", OUTSIDE): (15.75,), ("1", OUTSIDE): (22.1, 22.6),
    ("1 1/2", OUTSIDE): (34.8, 35.6), ("2", OUTSIDE): (47.5, 48.6, 48.5),
    ("2 1/2", OUTSIDE): (60.2, 60.3, 60.0), ("3", OUTSIDE): (72.9, 73.0),
    ("4", OUTSIDE): (97.38, 97.6, 98.0), ("6", OUTSIDE): (146.86,),
}  # fmt: skip
"""Bores by the size in inches that they are bought under in the US: tubes by their outside, other
pipe by its nominal bore (from memory). The first bore of each goes by the size alone. Tubes with an
outside of 33.7, 40 or 70 mm have no such size."""


def trade_in(bore_mm: float) -> tuple[str, str, bool] | None:
    """The size in inches that a bore is bought under in the US, what stands behind that of a tube,
    and whether it is the one bore that goes by the size alone. Nothing where it has none.

    >>> trade_in(47.5), trade_in(50.0), trade_in(48.6), trade_in(66.8)
    (('2', ' OD', True), ('2', '', True), ('2', ' OD', False), None)
    """
    for (size, kind), bores in TRADE_IN.items():
        if bore_mm in bores:
            return size, kind, bore_mm == bores[0]
    return None


MILKLINE_BORES_MM: tuple[float, ...] = (38.0, 48.5, 60.0, 73.0, 98.0)
"""Bores of milklines in the published measurements (reinemann1995, read)."""


def next_bore_mm(least_mm: float, bores: tuple[float, ...] = AIRLINE_BORES_MM) -> float | None:
    """The smallest bore in a list that is not under `least_mm`; nothing if none is.

    >>> next_bore_mm(101.0)
    110.0
    """
    return next((bore for bore in sorted(bores) if bore >= least_mm), None)


def next_tube(least_bore_mm: float, series: tuple[Tube, ...]) -> Tube | None:
    """The smallest tube whose bore is not under `least_bore_mm`; nothing if none is.

    >>> next_tube(60.0, ISO_2037).od_mm
    63.5
    """
    ordered = sorted(series, key=lambda tube: tube.bore_mm)
    return next((tube for tube in ordered if tube.bore_mm >= least_bore_mm), None)

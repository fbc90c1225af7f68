"""Names of the columns of the arrays that the kernels work on, and the groups they come in.

`Tables` is the compiled plant and never changes in a run; `Day` is one day's weather, prices and
cows; `State` is all that changes. A snapshot is a copy of the state. Times are seconds from the
start of the run, masses kg, heat kJ, powers kW.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MILK, WITHHELD, WATER, WASH = 0, 1, 2, 3
SUBSTANCES = ("milk", "withheld milk", "water", "wash")

# Vessels. Roles: store, source, sink, bath (holds heat only). Floats, whole numbers, state.
V_CAP, V_UA, V_ICE, V_C = range(4)
VI_ROLE, VI_SPILL, VI_SUBSTANCE, VI_FILL, VI_EMPTY, VI_WALL, VI_WASHED = range(7)
STORE, SOURCE, SINK, BATH = range(4)
# State of a vessel: kg of each substance (0-3), heat, most and least kg, first time over, kg run
# over, warmest, temperature when empty (or of a source), false level, washed until.
HEAT, P_MOST, P_LEAST, P_OVER_AT, P_SPILT, P_WARMEST, V_T0, V_LEVEL, V_WASH_UNTIL = range(4, 13)

# Movers. Laws of flow.
(
    FIXED, ON_OFF, STEPPED, LED, FOLLOW, RUNS, FLOAT, SUPPLY, DOSE, EVEN, LOADING, BY_ITSELF,
) = range(12)  # fmt: skip
M_MAX, M_FULL, M_START, M_STOP, M_FLOOR, M_KW, M_TAU, M_STEPS = range(8)
MI_SRC, MI_LAW, MI_LED, MI_J0, MI_J1, MI_KWH, MI_X, MI_BANK, MI_GROUP, MI_BIT = range(10)
# State of a mover: on, health, command, dose left, kg moved, kg/s now, hours run, starts.
S_ON, S_HEALTH, S_CMD, S_DOSE, S_KG, S_FLOW, S_HOURS, S_STARTS = range(8)

STAGES = 6  # cooling stages that a way passes, at most
J_MOVER, J_DST, J_FILTER, J_X = range(4)
SJ_OPEN, SJ_KG, SJ_KJ = range(3)

X_UA, X_RATIO = range(2)
XI_COLD, XI_CHILLED = range(2)
# State of an exchanger: health, heat moved, outlet now, warmest, kg cooled, kg x outlet, inlet now;
# kg x inlet, kg of what takes the heat, kg x its inlet.
SX_HEALTH, SX_KJ, SX_OUT, SX_WARMEST, SX_KG, SX_KGC, SX_IN, SX_FLOW = range(8)
SX_KGIN, SX_COLD, SX_COLDC = range(8, 11)

F_CAP, F_CHANGE_S, F_LOSS = range(3)
DIRTS = 4  # steps of dirt at which a filter costs flow as solved; straight lines between
SF_LOAD, SF_CHANGES, SF_BUSY, SF_HEALTH = range(4)

R_DUTY, R_COP, R_RATED_C, R_SET, R_BAND, R_FROM, R_TO, R_FALL, R_TAKEN, R_TAKEN_C = range(10)
RI_TARGET, RI_KWH, RI_COOLED, RI_TAKES = range(4)
SR_ON, SR_HEALTH, SR_KJ, SR_HOURS, SR_RECOVERED, SR_GIVES = range(6)

K_UA, K_MOST, K_SET, K_AGITATOR, K_LEAST, K_EVAPORATOR, K_STILL, K_GUARD_C = range(8)
KI_VESSEL, KI_CHILLED, KI_KWH = range(3)
SK_ON, SK_KJ, SK_AGITATOR_H = range(3)

H_KW, H_SET, H_EFFICIENCY = range(3)
HI_VESSEL, HI_KWH, HI_LOCKED = range(3)
SH_ON, SH_HEALTH, SH_KWH = range(3)

L_LOAD_KG, L_CYCLE_S, L_KW, L_WATER = range(4)
LI_STAGE, LI_COUNT, LI_DOSE, LI_KWH, LI_LOCKED = range(5)
SL_WAITING, SL_BUSY, SL_LEFT, SL_LOTS, SL_HEALTH = range(5)

# The sequence after milking: phases of (seconds, mover, kg or strength, what, which). Which: of
# what circulates once through, goes round or the main wash; of what empties 1 with all drains open.
Q_SECONDS, Q_MOVER, Q_KG, Q_DOES, Q_MAIN = range(5)
WAIT, FLUSH, DOSE_IN, CIRCULATE, EMPTY = range(5)
ONCE, ROUND, MAIN = range(3)
TR_VESSEL, TR_DRAIN = range(2)
ST_MILK, ST_APART = range(2)  # whole numbers of a stall: the movers that take its milk

# Rows: step, rank, target, field; values apart.
RW_STEP, RW_RANK, RW_TARGET, RW_FIELD = range(4)
(
    ROW_MOVER, ROW_MOVER_CMD, ROW_JOINT, ROW_EXCHANGER, ROW_CHILL, ROW_HEATER, ROW_PUMP,
    ROW_DRIVE, ROW_GATE, ROW_TANKER, ROW_MILKING, ROW_COMPRESSOR, ROW_LEVEL, ROW_FILTER,
    ROW_OPERATORS, ROW_ROUTE, ROW_LOT, ROW_AIR_LEAK, ROW_VACUUM_AIR, ROW_RECOVERY,
) = range(20)  # fmt: skip

# Scalars of the plant.
(
    PAR_DT, PAR_COW_C, PAR_LINE_C, PAR_FALL, PAR_STALL_S, PAR_ATTACH_AT, PAR_EXIT_AT, PAR_WINDOW,
    PAR_TURN_S, PAR_BOARD_S, PAR_GAP_S, PAR_FALL_S, PAR_VAC_LEAST, PAR_AIR_COW, PAR_AIR_LEAK,
    PAR_AIR_VOLUME, PAR_AIR_HIGH, PAR_AIR_LOW, PAR_CALF_KG, PAR_CALF_AFTER, PAR_CLOTHS,
    PAR_CLOTH_KG, PAR_FALL_UNITS, PAR_DRIVE_KW, PAR_GATE_KW, PAR_STEEL_KJ_K, PAR_CIRCULATE_UA,
    PAR_WASH_AIR, PAR_WASH_KPA, PAR_WASH_WET,
    PAR_TANK_WASH_SHARE, PAR_TANK_WASH_S, PAR_STANDBY_S, PAR_VAC_SET, PAR_DRY_WALL, PAR_ROOM_C,
    PAR_LEVEL, PAR_CP,
) = range(38)  # fmt: skip
PARS = PAR_CP + 4  # the specific heats of the four substances stand last
(
    N_V0, N_V1, N_M0, N_M1, N_J0, N_J1, N_X0, N_X1, N_F0, N_F1, N_R0, N_R1, N_K0, N_K1, N_H0,
    N_H1, N_L0, N_L1, N_P0, N_P1, N_A0, N_A1, N_Q0, N_Q1, N_PLACE0, N_PLACE1, N_LOAD0, N_LOAD1,
    N_KWH0, N_KWH1, N_STALL0, N_STALL1, N_WASH0, N_WASH1, N_TROUGH0, N_TROUGH1,
    N_LAYOUT, N_STALLS, N_ROWS, N_MODES, N_ALTS, N_TANKER, N_CALF_ALT, N_CALF_VESSEL,
    N_DRIVE_KWH, N_GATE_KWH, N_SOLD, N_UNITS, N_DIRECT, N_MILKING_KWH,
    N_SAMPLE, N_SLOTS, N_MINUTE, N_PHASES_DRY,
) = range(54)  # fmt: skip
NUMBERS = 54

# What changes: general floats.
(
    G_U, G_STOP, G_BUSY_UNTIL, G_READY, G_STOPPED, G_HELD, G_MILK, G_WITHHELD, G_ATTACHED,
    G_FALLEN, G_VACUUM, G_KW, G_DRIVE, G_GATE, G_TANKER_CAP, G_PHASE_LEFT, G_AIR, G_AIR_LEAST,
    G_AIR_MADE, G_AIR_USED, G_COST, G_COLD_KJ, G_IN_KJ, G_LOST_KJ, G_PRODUCT_L, G_CLOTHS,
    G_CALF_START, G_PUMP_SPEED, G_VAC_LEAST, G_ATTACH_S, G_COWS_KJ, G_OPERATORS, G_LOST_MILK_S,
    G_RETURN_C, G_KW_MOST, G_HOT_START_C, G_TANKER_AT, G_AIR_LEAK, G_VACUUM_AIR, G_MINUTE_KG,
    G_MINUTE_MOST, G_MADE_WASH, G_CALF_DRAWN, G_KWH, G_STEEL_C, G_ROOM_C, G_TURNED_S,
) = range(47)  # fmt: skip
GENERAL = 48
(
    I_STEP, I_ROW, I_MILKING, I_PENDING, I_COW, I_COWS, I_ENTRY, I_ATTACH, I_EXIT, I_TARGET,
    I_MODE, I_PHASE, I_ON_DECK, I_TANKER, I_MILKED, I_LOADS, I_FLUSH, I_DOSING, I_CIRCULATES,
    I_DONE, I_VARIANT, I_ROUTE, I_PUMPS, I_WITHHELD_SEEN, I_SEQ,
) = range(25)  # fmt: skip
INTEGERS = 28

# Cows as drawn, in the order of milking.
(
    C_KG, C_LAG, C_FLOW_S, C_RISE, C_ON_S, C_KICK_AT, C_STOP_S, C_WORK_S, C_WITHHELD, C_GROUP,
    C_PAUSE_S, C_ID,
) = range(12)  # fmt: skip
COW = 12
O_ID, O_GROUP, O_ENTER, O_ATTACH, O_OFF, O_EXIT, O_KG, O_PASSES, O_KICKS, O_WITHHELD = range(10)
OUT = 10
# A stall: cow place in the order, state; attached at, kick at, pause, off at, share so far.
EMPTY_STALL, ENTERED, ATTACHED, DONE = range(4)
ST_ATTACH, ST_OFF, ST_SHARE, ST_ENTER, ST_PLACE, ST_STATE, ST_KICKED = range(7)
# A milking: asked for, begun, last off, ended, washed.
(
    B_ASKED, B_BEGUN, B_LAST_OFF, B_WASH_BEGUN, B_WASH_END, B_STOPPED, B_HELD, B_KG, B_RETURN_C,
    B_HOT_C, B_STRENGTH, B_LEFT_KG, B_DRY_S, B_HEATER_C,
) = range(14)  # fmt: skip
BOUTS = 14
T_AT, T_LEFT, T_KG, T_C, T_KJ = range(5)


SECTIONS = (
    "vessels", "movers", "joints", "exchangers", "filters", "chillers", "cooled", "heated", "lots",
    "pumps", "compressors", "phases", "places", "loads", "meters", "stalls", "washes", "troughs",
)  # fmt: skip
"""Sorts of item in the order of their rows; two numbers each stand first among the scalars."""
COLUMNS = 13


class Tables(NamedTuple):
    """The compiled plant: every item is a row of `F` (floats) and of `I` (whole numbers).

    `share[state, running, joint]` is the share of its mover's flow that a joint takes, by the state
    of the valves and by which pumps of its group run; `most[state, running, mover]` the flow it
    then gives at full speed and the usual level, kg/s, the part of its pump's flow that this is,
    and by which share it grows over the whole of its vessel's volume. `cold[state, user,
    vessel]` is the share of a user's chilled liquid that comes from a bath, and behind the last
    vessel the most that flows, kg/s. `vac[pumps running, units attached]` gives vacuum, speed and
    power.
    """

    F: Floats
    I: Ints  # noqa: E741
    par: Floats
    num: Ints
    share: Floats
    most: Floats
    cold: Floats
    vac: Floats

    def rows(self, section: str) -> slice:
        """The rows of one sort of item."""
        at = 2 * SECTIONS.index(section)
        return slice(int(self.num[at]), int(self.num[at + 1]))


class Day(NamedTuple):
    """One day: weather (mean ambient, clock second of step 0, swing), prices, cows."""

    weather: Floats
    price: Floats
    source_c: Floats
    cows: Floats
    count: Ints  # type: ignore[assignment]
    rows: Ints
    values: Floats


class State(NamedTuple):
    """All that changes. `items` has the same rows as the tables."""

    items: Floats
    g: Floats
    n: Ints
    cow: Floats
    out: Floats
    bout: Floats
    loads: Floats

    def copy(self) -> State:
        """A snapshot: the same arrays, of its own."""
        return State(*(a.copy() for a in self))  # type: ignore[arg-type]

    def same_as(self, other: State) -> bool:
        """Whether two states agree to the last bit (row cursors apart)."""
        for name, a, b in zip(self._fields, self, other, strict=True):
            if name == "n":
                a, b = a.copy(), b.copy()
                a[I_ROW] = b[I_ROW] = 0
            if a.tobytes() != b.tobytes():
                return False
        return True


def zeros(*shape: int) -> Floats:
    """An array of zeros."""
    return np.zeros(shape, np.float64)


def whole(*shape: int) -> Ints:
    """An array of whole zeros."""
    return np.zeros(shape, np.int64)

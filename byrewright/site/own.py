"""What the watch watches of itself: the connection, the mode, the points, the log."""

from __future__ import annotations

from collections import deque

from byrewright.engine.interlocks import Priority, Row
from byrewright.standards.rulebook import Rulebook

LINK_LOST, LINK_FLAPS = "Link_lost", "Link_comes_and_goes"
MODE_UNKNOWN, POINT_UNKNOWN, LOG_STOPPED = "Mode_unknown", "Point_unknown", "Log_not_written"


def own_rows(stale_s: float, log_late_s: float) -> tuple[Row, ...]:
    """The watch's own alarms. They need no contact and are judged in every mode."""

    def row(tag: str, priority: Priority, text: str, do: str, on_delay_s: float) -> Row:
        return Row(
            tag=tag, machine="", wanted="", modes=(), on=(), off=(), priority=priority,
            text=text, do=do, on_delay_s=on_delay_s, off_delay_s=0.0,
        )  # fmt: skip

    return (
        row(LINK_LOST, "high", "Nothing is read from the controller: no position is watched",
            "Look at every valve yourself. Then see to the controller, its power and the network "
            "cable.", stale_s),
        row(MODE_UNKNOWN, "high", "The controller gives no mode that this plant knows: no position "
            "is judged",
            "Look at every valve yourself. Then see to the mode that the controller gives.",
            stale_s),
        row(LINK_FLAPS, "medium", "The connection to the controller comes and goes",
            "See to the network cable, the plugs and the switch between here and the controller.",
            0.0),
        row(POINT_UNKNOWN, "medium", "Some contacts cannot be read: their alarms cannot come",
            "Look at the machines that the watch page names. Then see to the addresses and the "
            "sensors.", stale_s),
        row(LOG_STOPPED, "medium", "The log is not written: alarms are kept in memory only",
            "Do not end the watch. See to the disk of this computer, and to what else uses the "
            "log.", log_late_s),
    )  # fmt: skip


class Link:
    """The connection: whether it is up, and whether it comes and goes.

    A connection that is lost `losses` times within `window_s` flaps until it has not been lost for
    as long; while it flaps its comings and goings are no news.
    """

    def __init__(self, rules: Rulebook, told_up: bool | None) -> None:
        self.losses = round(rules.number("alarm.link_losses"))
        self.window_s = rules.number("alarm.link_window_min") * 60
        self.up: bool | None = told_up
        self._told = told_up
        self._lost_at: deque[float] = deque()
        self.flaps = False

    def take(self, up: bool, now: float) -> str:
        """Note whether reading succeeded; "lost" or "back" where that is news, else ""."""
        if self.up is not False and not up:
            self._lost_at.append(now)
        self.up = up
        while self._lost_at and now - self._lost_at[0] > self.window_s:
            self._lost_at.popleft()
        self.flaps = bool(self._lost_at) if self.flaps else len(self._lost_at) >= self.losses
        if self.flaps or self._told is up or (self._told is None and up):
            return ""
        self._told = up
        return "back" if up else "lost"

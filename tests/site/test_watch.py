"""The watch against a simulated controller on real Modbus TCP and OPC UA."""

from __future__ import annotations

import asyncio
import json
import logging
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.engine.interlocks import Table
from byrewright.plant.problems import FileProblems
from byrewright.site.addresses import (
    AddressError,
    Addresses,
    default_addresses,
    read_map,
    write_map,
)
from byrewright.site.alarms import Alarm, Event
from byrewright.site.controller import LOOPBACK, Controller, free_port
from byrewright.site.journal import Journal
from byrewright.site.log import Log, Owner
from byrewright.site.opcua import OpcuaSource
from byrewright.site.own import LINK_LOST, MODE_UNKNOWN
from byrewright.site.service import Order, as_it_says
from byrewright.site.sources import ModbusSource, Sample, Source, SourceLost, blocks, to_sample
from byrewright.site.watch import Watch, snapshot_of
from tests.site.test_alarms import ON_S, one_row_table

RIGHT = {"V1_closed": True, "V1_open": False}
WRONG = {"V1_closed": False, "V1_open": True}
READS_ONLY = {2, 4}  # Modbus functions: read discrete inputs, read input registers
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Libraries' talk of lost connections is what these tests provoke."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


OWNER = Owner("p", "(invented)")


def watching(
    table: Table, source: Source, path: Path, clock: Clock, journal: Journal | None = None
) -> Watch:
    """A watch with a real log, on a clock that the test moves."""
    return Watch(table, source, journal or Journal(Log(path, OWNER)), clock=clock, forward=clock)


def told(watch: Watch) -> list[Event]:
    """What the log holds, once all is written."""
    assert watch.journal.flush(10)
    return watch.journal.log.events()


def made(
    kind: str, table: Table, where: Addresses, *, mode: str | None = None
) -> tuple[Controller, Source]:
    """A controller and a source that reads it, by protocol."""
    if kind == "opcua":
        controller = Controller(table, where, opcua_port=free_port())
        return controller, OpcuaSource(table, where, controller.opcua_url, mode=mode)
    controller = Controller(table, where, modbus_port=free_port())
    return controller, ModbusSource(table, where, LOOPBACK, controller.modbus_port or 0, mode=mode)


@pytest.mark.parametrize("kind", ["modbus", "opcua"])
@pytest.mark.parametrize("announces", [True, False])
async def test_a_simulated_controller_never_counts_as_the_plant(
    kind: str, announces: bool, tmp_path: Path
) -> None:
    """Would fail if practice were logged as real, or a real controller refused as a simulated one.

    Of one that comes in the place of a real one later, nothing is taken either."""
    table = one_row_table()
    controller, source = made(kind, table, default_addresses(table))
    controller.announces = announces
    assert isinstance(source, ModbusSource | OpcuaSource)
    source.real = True
    where = controller.opcua_url if kind == "opcua" else f"{LOOPBACK}:{controller.modbus_port}"
    async with controller:
        await controller.show("milking", RIGHT)
        order = await as_it_says(Order("opcua" if kind == "opcua" else "modbus", where), tmp_path)
        assert order.world == ("practice" if announces else "real")
        if announces:
            with pytest.raises(SourceLost, match="simulated controller, not a plant"):
                await source.read()
        else:
            assert (await source.read()).contacts == RIGHT
        await source.close()


@pytest.mark.parametrize("kind", ["modbus", "opcua", "contacts"])
async def test_sees_a_wrong_valve_and_its_return(kind: str, tmp_path: Path) -> None:
    """Would fail if a wrong valve raised no alarm over a real connection, or stayed."""
    table, clock = one_row_table(), Clock()
    where = default_addresses(table, contacts_only=kind == "contacts")
    controller, source = made(kind, table, where)
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        for seconds, contacts in (
            (0, RIGHT),
            (1, WRONG),
            (1 + ON_S, WRONG),
            (10, RIGHT),
            (20, RIGHT),
        ):
            clock.now = 1000.0 + seconds
            await controller.show("milking", contacts)
            snapshot = await watch.step()
            assert snapshot.live(0) and snapshot.mode == "milking"
        await source.close()
    assert [(e.kind, e.at - 1000) for e in told(watch)] == [
        ("mode", 0),
        ("raised", 1 + ON_S),
        ("cleared", 20),
    ]
    if kind != "opcua":
        assert set(controller.asked) <= READS_ONLY
    watch.journal.close()


@pytest.mark.parametrize("kind", ["modbus", "opcua"])
async def test_a_lost_connection_is_told_and_never_shown_as_live(kind: str, tmp_path: Path) -> None:
    """Would fail if old data passed as live, an alarm came or went blind, or it never came back."""
    table, clock = one_row_table(), Clock()
    where = default_addresses(table)
    controller, source = made(kind, table, where)
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    await controller.start()
    for seconds in (0, ON_S):
        clock.now = 1000.0 + seconds
        await controller.show("milking", WRONG)
        await watch.step()
    await controller.stop()
    for seconds in (10, 100, 1000):
        clock.now = 1000.0 + seconds
        snapshot = await watch.step()
        assert not snapshot.live(0) and snapshot.message
        states = {a.tag: a.state for a in snapshot.alarms}
        assert states.pop("V1_not_closed") == "unacknowledged"  # kept, not judged
        assert (LINK_LOST in states) is (seconds > 10)  # no position is watched: an alarm too
    await controller.start()
    await controller.show("milking", WRONG)
    snapshot = await watch.step()
    assert snapshot.live(0)
    await source.close()
    await controller.stop()
    assert [(e.kind, e.tag) for e in told(watch)] == [
        ("mode", ""),
        ("raised", "V1_not_closed"),
        ("lost", ""),
        ("raised", LINK_LOST),
        ("back", ""),
        ("cleared", LINK_LOST),
    ]
    watch.journal.close()


async def test_data_grow_old_by_themselves(tmp_path: Path) -> None:
    """Would fail if a page that shows the last snapshot took it for live long after."""
    table, clock = one_row_table(), Clock()
    controller, source = made("modbus", table, default_addresses(table))
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        await controller.show("milking", RIGHT)
        snapshot = await watch.step()
        await source.close()
    assert snapshot.live(watch.stale_s)
    assert not snapshot.live(watch.stale_s + 1)
    kept = json.loads(json.dumps(snapshot.to_dict()))
    assert snapshot_of(kept) == snapshot
    watch.journal.close()


async def test_a_stopped_program_behind_a_living_server_is_not_live(tmp_path: Path) -> None:
    """Would fail if a controller that answers with a heartbeat standing still counted as live."""
    table, clock = one_row_table(), Clock()
    controller, source = made("modbus", table, default_addresses(table))
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        await controller.show("milking", RIGHT)
        assert (await watch.step()).live(0)
        clock.now += watch.stale_s + 1
        await controller.show("milking", RIGHT, beat=False)
        snapshot = await watch.step()
        assert not snapshot.live(0) and "heartbeat" in snapshot.message
        await controller.show("milking", RIGHT)
        assert (await watch.step()).live(0)
        await source.close()
    watch.journal.close()


async def test_an_unknown_mode_is_not_judged(tmp_path: Path) -> None:
    """Would fail if positions were judged by a mode that the plant does not have."""
    table, clock = one_row_table(), Clock()
    controller, source = made("modbus", table, default_addresses(table))
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        for _ in range(5):
            clock.now += ON_S
            await controller.show(None, WRONG)
            snapshot = await watch.step()
        await source.close()
    assert snapshot.mode is None and "no mode" in snapshot.message
    assert [a.tag for a in snapshot.alarms] == [MODE_UNKNOWN]
    watch.journal.close()


async def test_a_small_input_module_with_a_stated_mode(tmp_path: Path) -> None:
    """Would fail if the watch needed a mode register where there are only volt-free contacts."""
    table, clock = one_row_table(), Clock()
    where = default_addresses(table, contacts_only=True)
    where = Addresses(where.contacts, None, None, {})
    controller, source = made("modbus", table, where, mode="milking")
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        for _ in range(3):
            clock.now += ON_S
            await controller.show(None, WRONG)
            snapshot = await watch.step()
        await source.close()
    assert [a.tag for a in snapshot.alarms] == ["V1_not_closed"]
    assert set(controller.asked) == {2}
    watch.journal.close()


async def test_two_mode_contacts_at_once_are_no_mode() -> None:
    """Would fail if two mode contacts on together were read as one of the modes."""
    table = one_row_table()
    where = default_addresses(table, contacts_only=True)
    both = {a: a.tag.startswith("Mode") for a in where.all()}
    assert to_sample(table, where, both, None).mode is None
    one = {a: a.tag == "Mode_2" for a in where.all()}
    assert to_sample(table, where, one, None).mode == "milking"


KILLED = """
import asyncio, sys
from pathlib import Path
from byrewright.site.addresses import default_addresses
from byrewright.site.journal import Journal
from byrewright.site.log import Log, Owner
from byrewright.site.sources import ModbusSource
from byrewright.site.watch import Watch
from tests.site.test_alarms import one_row_table

table = one_row_table()
source = ModbusSource(table, default_addresses(table), "127.0.0.1", int(sys.argv[1]))
watch = Watch(table, source, Journal(Log(Path(sys.argv[2]), Owner("p", "p"))), period_s=0.01)
watch.listeners.append(lambda s: print(len(s.alarms), flush=True))
asyncio.run(watch.run(asyncio.Event()))
"""


async def test_killed_again_and_again_it_keeps_each_event_once(tmp_path: Path) -> None:
    """Would fail if killing the watch at any moment lost a standing alarm or wrote it twice."""
    table = one_row_table()
    controller, _ = made("modbus", table, default_addresses(table))
    root = Path(__file__).parents[2]
    log = tmp_path / "log.sqlite"
    async with controller:
        beat = asyncio.create_task(_beating(controller))
        for wait in (ON_S + 1.0, 0.05, 0.3):
            child = await asyncio.create_subprocess_exec(
                sys.executable, "-c", KILLED, str(controller.modbus_port), str(log), cwd=root,
                env={**os.environ, "PYTHONPATH": str(root)}, stdout=subprocess.PIPE,
            )  # fmt: skip
            assert child.stdout is not None
            await asyncio.wait_for(child.stdout.readline(), 20)  # it has read once
            reading = asyncio.create_task(child.stdout.read())
            await asyncio.sleep(wait)
            child.send_signal(signal.SIGKILL)
            await child.wait()
            await reading
        beat.cancel()
    kept = Log(log, OWNER)
    assert [e.kind for e in kept.events() if e.tag] == ["raised"]
    (states,) = kept.states().values()
    assert states["V1_not_closed"].state == "unacknowledged"
    kept.close()


async def _beating(controller: Controller) -> None:
    while True:
        await controller.show("milking", WRONG)
        await asyncio.sleep(0.05)


async def test_acknowledging_is_recorded_with_the_name(tmp_path: Path) -> None:
    """Would fail if an acknowledgement lost who gave it, or was written to the controller."""
    table, clock = one_row_table(), Clock()
    controller, source = made("modbus", table, default_addresses(table))
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        for _ in range(3):
            clock.now += ON_S
            await controller.show("milking", WRONG)
            await watch.step()
        assert watch.acknowledge("anna") == 1 and watch.acknowledge("anna") == 0
        await source.close()
    assert [(e.kind, e.who) for e in told(watch) if e.tag] == [
        ("raised", ""),
        ("acknowledged", "anna"),
    ]
    assert [a.state for a in watch.snapshot.alarms] == ["acknowledged"]
    assert set(controller.asked) <= READS_ONLY
    watch.journal.close()


class Flaky:
    """A source that fails when told to."""

    name = "a flaky source"

    def __init__(self) -> None:
        self.up = True
        self.contacts = RIGHT

    async def read(self) -> Sample:
        """The contacts, or nothing."""
        if not self.up:
            raise SourceLost("the cable is out")
        return Sample("milking", self.contacts)

    async def close(self) -> None:
        """Nothing to let go."""


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=1, max_size=30))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_whatever_happens_the_log_tells_one_story(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[bool, bool, bool]]
) -> None:
    """Would fail if lost connections and restarts in any order doubled or dropped an event."""
    table, clock, source = one_row_table(), Clock(), Flaky()
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    watch = watching(table, source, path, clock)
    for up, right, restart in steps:
        clock.now += ON_S
        source.up, source.contacts = up, RIGHT if right else WRONG
        if restart:
            watch.journal.close(10)
            watch = watching(table, source, path, clock)
        snapshot = asyncio.run(watch.step())
        assert snapshot.live(0) is up
    events = told(watch)
    for tag in {e.tag for e in events if e.tag}:
        turns = [e.kind for e in events if e.tag == tag]
        assert turns == [("raised", "cleared")[i % 2] for i in range(len(turns))]
    turns = [e.kind for e in events if e.kind in ("lost", "back")]
    assert turns == [("lost", "back")[i % 2] for i in range(len(turns))]
    assert sum(e.kind == "mode" for e in events) == any(up for up, _, _ in steps)
    assert len({e.uid for e in events}) == len(events)
    watch.journal.close()


def test_only_one_watch_writes_a_log(tmp_path: Path) -> None:
    """Would fail if two watches could mix their events in one log."""
    one, two = Log(tmp_path / "log.sqlite", OWNER), Log(tmp_path / "log.sqlite", OWNER)
    assert one.claim() and not two.claim()
    one.close()
    assert two.claim()
    two.close()


def test_sources_name_no_call_that_writes() -> None:
    """Would fail if someone gave the sources a way to write to a controller."""
    import byrewright.site.opcua as opcua
    import byrewright.site.sources as sources
    import byrewright.site.watch as watch

    for module in (sources, opcua, watch):
        text = Path(module.__file__ or "").read_text()
        assert not [
            w
            for w in (
                "write_coil",
                "write_register",
                "write_value",
                "call_method",
                "set_value",
                "write_attribute",
            )
            if w in text
        ]


def test_requests_cover_all_addresses_within_the_protocol() -> None:
    """Would fail if an address was not asked for, or one request asked for too much."""
    numbers = [*range(0, 300), 305, 1000, 65535]
    made_ = blocks(numbers, 125)
    covered = {n for b in made_ for n in range(b.first, b.first + b.count)}
    assert set(numbers) <= covered and max(b.count for b in made_) <= 125


def test_address_map_comes_back_and_complains_clearly(tmp_path: Path) -> None:
    """Would fail if the engineer's map was misread, or a slip in it gave a traceback."""
    table = one_row_table()
    path = tmp_path / "map.csv"
    path.write_text(write_map(default_addresses(table)))
    assert read_map(path, table) == default_addresses(table)
    for bad, said in (
        ("tag,area\nV1_open,discrete_input\n", "first line"),
        ("tag,area,address\nV1_open,coil,3\n", ":2: area is 'coil'"),
        ("tag,area,address\nV1_open\n", ":2: area is missing"),
        ("tag,area,address\nV1_open,discrete_input\n", ":2: address is missing"),
        ("tag,area,address\nV1_open,discrete_input,-1\n", "0 to 65535"),
        ("tag,area,address\nV9_open,discrete_input,1\n", "V9_open is not in"),
    ):
        path.write_text(bad)
        with pytest.raises(AddressError, match=said):
            read_map(path, table)
    for raw in ("tag,area,address\nV1_\xf6ffnet,discrete_input,1\n".encode("latin-1"),
                "tag,area,address\n".encode("utf-16")):  # fmt: skip
        path.write_bytes(raw)
        with pytest.raises(FileProblems, match="not UTF-8 text"):
            read_map(path, table)
    path.write_bytes(b"tag,area,address\n" + b"x" * 200_000 + b",discrete_input,1\n")
    with pytest.raises(AddressError, match="not a line of a table"):
        read_map(path, table)


async def test_the_end_tells_what_stands_of_another_controller_too(tmp_path: Path) -> None:
    """Would fail if the last sentence left out alarms that stand and are read no more."""
    table, ended = one_row_table(), asyncio.Event()
    log = Log(tmp_path / "log.sqlite", OWNER)
    log.record([], [("Modbus there:502", Alarm("V1_not_closed", "acknowledged", 1.0))])
    ended.set()
    watch = watching(table, made("modbus", table, default_addresses(table))[1],
                     tmp_path / "log.sqlite", Clock())  # fmt: skip
    await watch.run(ended)
    assert "stand and are kept: 1" in told(watch)[-1].text
    watch.journal.close()

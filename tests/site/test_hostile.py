"""Links that flap, clocks that jump, values of the wrong sort: the watch goes on, not fooled."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from byrewright.commands.watch import Told
from byrewright.site.addresses import (
    AddressError,
    Addresses,
    cannot_come,
    default_addresses,
    left_out,
    read_map,
)
from byrewright.site.controller import LOOPBACK, Controller, free_port
from byrewright.site.journal import Journal
from byrewright.site.log import Log
from byrewright.site.opcua import OpcuaSource, Security
from byrewright.site.own import LINK_FLAPS, POINT_UNKNOWN
from byrewright.site.sources import ModbusSource, SourceLost
from byrewright.site.watch import Watch
from tests.site.test_alarms import ON_S, TAG, one_row_table
from tests.site.test_watch import OWNER, RIGHT, WRONG, Clock, Flaky, told, watching

pytestmark = pytest.mark.filterwarnings("ignore")
HALF_HOUR_S = 1800
MOST_LINK_RECORDS = 10  # a handful before it is called flapping; never one a loss


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Libraries' talk of lost connections is what these tests provoke."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


async def test_a_link_that_flaps_hides_no_alarm_and_is_told_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if three good readings and a lost one kept an alarm away, or filled the log or
    a service's journal."""
    clock, source = Clock(), Flaky()
    watch = watching(one_row_table(), source, tmp_path / "log.sqlite", clock)
    watch.listeners.append(Told())
    source.contacts = WRONG
    raised_s = None
    for second in range(HALF_HOUR_S):
        clock.now, source.up = 1000.0 + second, second % 4 != 3
        await watch.step()
        if raised_s is None and TAG in {a.tag for a in watch.snapshot.alarms}:
            raised_s = second
    assert raised_s is not None and raised_s <= ON_S + 1
    events = told(watch)
    assert sum(e.kind in ("lost", "back") for e in events) <= MOST_LINK_RECORDS
    assert [e.kind for e in events if e.tag == LINK_FLAPS] == ["raised"]
    assert len(capsys.readouterr().out.splitlines()) <= 2 * MOST_LINK_RECORDS
    source.up = True
    for _ in range(700):  # longer than the window in which losses count
        clock.now += 1
        await watch.step()
    assert [e.kind for e in told(watch) if e.tag == LINK_FLAPS] == ["raised", "cleared"]
    assert [e.kind for e in told(watch) if e.kind in ("lost", "back")][-1] == "back"
    watch.journal.close()


async def test_the_clock_on_the_wall_is_set_back_an_hour(tmp_path: Path) -> None:
    """Would fail if setting the clock back delayed an alarm, showed old data as live, or lost an
    acknowledgement."""
    wall, forward, source = Clock(), Clock(), Flaky()
    journal = Journal(Log(tmp_path / "log.sqlite", OWNER))
    watch = Watch(one_row_table(), source, journal, clock=wall, forward=forward)
    source.contacts = WRONG
    await watch.step()
    wall.now -= 3600
    forward.now += ON_S
    await watch.step()
    assert [a.tag for a in watch.snapshot.alarms] == [TAG]
    assert watch.acknowledge("anna") == 1
    source.up = False
    forward.now += watch.stale_s + 1
    wall.now -= 3600
    snapshot = await watch.step()
    assert not snapshot.live(0)
    journal.flush()
    again = Watch(one_row_table(), source, Journal(Log(tmp_path / "log.sqlite", OWNER)),
                  clock=wall, forward=forward)  # fmt: skip
    assert {a.tag: a.state for a in again.snapshot.alarms}[TAG] == "acknowledged"
    uids = [e.uid for e in told(watch)]
    assert len(set(uids)) == len(uids)
    again.journal.close()
    journal.close()


class Server:
    """An OPC UA server that serves whatever values it is given, as they are."""

    def __init__(self, values: dict[str, Any]) -> None:
        self.values, self.url = values, f"opc.tcp://{LOOPBACK}:{free_port()}/"
        self._server: Any = None

    async def prepare(self, server: Any) -> None:
        """Set up what is not the values."""
        from asyncua import ua

        server.set_security_policy([ua.SecurityPolicyType.NoSecurity])

    def made(self) -> Any:
        """The server, not yet set up."""
        from asyncua.server.server import Server as Plain

        return Plain()

    async def __aenter__(self) -> Server:
        from asyncua import ua

        server = self.made()
        await server.init()
        server.set_endpoint(self.url)
        await self.prepare(server)
        await server.register_namespace("urn:test")
        for tag, value in self.values.items():
            node = ua.NodeId.from_string(f"ns=2;s={tag}")
            await server.nodes.objects.add_variable(node, tag, value)
        await server.start()
        self._server = server
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._server.stop()


SORTS: list[tuple[dict[str, Any], str | None, dict[str, str]]] = [
    ({"V1_open": "0"}, "milking", {"V1_open": "the text '0'"}),
    ({"V1_open": [True, True]}, "milking", {"V1_open": "a list"}),
    ({"V1_open": 7}, "milking", {"V1_open": "7, not on or off"}),
    ({"V1_open": float("nan")}, "milking", {"V1_open": "nan"}),
    ({"Mode": "milking"}, None, {"Mode": "the text 'milking'"}),
    ({"Mode": float("nan")}, None, {"Mode": "nan"}),
    ({"Mode": [2]}, None, {"Mode": "a list"}),
    ({"Heartbeat": "tick"}, "milking", {"Heartbeat": "the text 'tick'"}),
    ({"V1_open": None}, "milking", {"V1_open": "no good value"}),
]
"""What stands in place of a good value; the mode then read; what is said of the point."""


async def test_an_opcua_value_of_the_wrong_sort_is_not_known() -> None:
    """Would fail if text "0" were read as on, or one bad node hid all the others."""
    good = {"V1_open": False, "V1_closed": True, "Mode": 2, "Heartbeat": 1}
    table = one_row_table()
    every = {
        f"{i}.{tag}": value
        for i, (wrong, _, _) in enumerate(SORTS)
        for tag, value in {**good, **wrong}.items()
        if value is not None
    }
    async with Server(every) as server:
        for i, (_, mode, unknown) in enumerate(SORTS):
            plain = default_addresses(table)

            def here(one: Any, at: int = i) -> Any:
                return replace(one, node=f"ns=2;s={at}.{one.tag}")

            where = Addresses(tuple(here(a) for a in plain.contacts), here(plain.mode),
                              here(plain.heartbeat), {})  # fmt: skip
            source = OpcuaSource(table, where, server.url)
            sample = await source.read()
            await source.close()
            assert sample.mode == mode
            assert set(sample.unknown) == set(unknown)
            assert all(words in sample.unknown[tag] for tag, words in unknown.items())
            assert not set(sample.contacts) & set(unknown)
            assert sample.contacts["V1_closed"] is True


async def test_a_point_that_is_not_known_is_an_alarm_and_clears_none(tmp_path: Path) -> None:
    """Would fail if a bad contact passed for right or wrong, or was not told."""
    clock = Clock()
    table = one_row_table()
    where = default_addresses(table)
    far = replace(where.contacts[0], number=60000)  # V1_open: no such address in the controller
    controller = Controller(table, where, modbus_port=free_port())
    source = ModbusSource(table, Addresses((far, where.contacts[1]), where.mode, None, {}),
                          LOOPBACK, controller.modbus_port or 0)  # fmt: skip
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        await controller.show("milking", WRONG)  # closed is off: wrong without the other contact
        for _ in range(5):
            clock.now += ON_S
            await watch.step()
        assert {a.tag for a in watch.snapshot.alarms} == {TAG, POINT_UNKNOWN}
        assert "refused" in watch.snapshot.unknown["V1_open"]
        await controller.show("milking", RIGHT)  # closed is on; whether it is open nobody knows
        for _ in range(5):
            clock.now += 10
            await watch.step()
        assert {a.tag for a in watch.snapshot.alarms if a.state != "gone"} == {TAG, POINT_UNKNOWN}
        await source.close()
    watch.journal.close()


@pytest.mark.parametrize("kind", ["modbus", "opcua"])
@pytest.mark.parametrize("answer", [b"", b"\0" * 40, b"HTTP/1.1 400 no\r\n\r\n", b"\xff" * 300])
async def test_corrupted_answers_end_nothing(kind: str, answer: bytes, tmp_path: Path) -> None:
    """Would fail if bytes from the wire could raise anything but a lost connection."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(10)
        writer.write(answer)
        writer.close()

    table = one_row_table()
    async with await asyncio.start_server(talk, LOOPBACK, 0) as server:
        port = server.sockets[0].getsockname()[1]
        source: ModbusSource | OpcuaSource
        if kind == "modbus":
            source = ModbusSource(table, default_addresses(table), LOOPBACK, port)
        else:
            url = f"opc.tcp://{LOOPBACK}:{port}/"
            source = OpcuaSource(table, default_addresses(table), url)
        with pytest.raises(SourceLost):
            await asyncio.wait_for(source.read(), 10)
        await source.close()


class Guarded(Server):
    """A server that lets in only encrypted sessions with a known user."""

    def __init__(self, folder: Path) -> None:
        super().__init__({"V1_open": False, "V1_closed": True, "Mode": 2, "Heartbeat": 1})
        self.folder = folder

    def made(self) -> Any:
        """The server with its list of users."""
        from asyncua.server.server import Server as Plain
        from asyncua.server.user_managers import UserRole

        class Users:
            """Knows one user."""

            def get_user(self, iserver: Any, username: Any = None, password: Any = None,
                         certificate: Any = None) -> Any:  # fmt: skip
                from asyncua.crypto.permission_rules import User

                good = (username, password) == ("byre", "the right word")
                return User(role=UserRole.User) if good else None

        return Plain(user_manager=Users())  # type: ignore[arg-type]

    async def prepare(self, server: Any) -> None:
        """Certificate and policy."""
        from asyncua import ua

        await certificate(self.folder, "server")
        await server.load_certificate(str(self.folder / "server.der"))
        await server.load_private_key(str(self.folder / "server.pem"))
        server.set_security_policy([ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])


async def certificate(folder: Path, name: str) -> None:
    """A self-signed certificate and its key."""
    import socket

    from asyncua.crypto.cert_gen import setup_self_signed_certificate
    from cryptography.x509.oid import ExtendedKeyUsageOID

    await setup_self_signed_certificate(
        folder / f"{name}.pem", folder / f"{name}.der", f"urn:test:{name}", socket.gethostname(),
        [ExtendedKeyUsageOID.CLIENT_AUTH, ExtendedKeyUsageOID.SERVER_AUTH], {},
    )  # fmt: skip


async def test_an_encrypted_session_with_user_and_certificate(tmp_path: Path) -> None:
    """Would fail if a controller that asks for Basic256Sha256 could not be read, the wrong
    password passed, or people were not told what is wrong."""
    table = one_row_table()
    await certificate(tmp_path, "client")
    right = Security("Basic256Sha256", tmp_path / "client.der", tmp_path / "client.pem",
                     tmp_path / "server.der", "byre", "the right word")  # fmt: skip
    async with Guarded(tmp_path) as server:
        for security, bad in (
            (right, ""),
            (replace(right, password="another"), "refuses this session"),
            (None, "offers no session with security none"),
        ):
            source = OpcuaSource(table, default_addresses(table), server.url, security=security)
            if not bad:
                assert (await source.read()).mode == "milking"
            else:
                with pytest.raises(SourceLost, match=bad):
                    await source.read()
            await source.close()
    right.key.write_text("no key")
    with pytest.raises(SourceLost, match="no certificate or key"):
        await OpcuaSource(table, default_addresses(table), server.url, security=right).read()


HEAD = "tag,area,address,opc_ua_node,meaning\n"
BOTH = "V1_open,discrete_input,0\nV1_closed,discrete_input,1\n"


def test_an_address_map_from_a_spreadsheet(tmp_path: Path) -> None:
    """Would fail if a byte order mark or semicolons made a good map unreadable."""
    path, table = tmp_path / "map.csv", one_row_table()
    path.write_bytes(("\ufeff" + HEAD + BOTH).replace(",", ";").encode())
    assert [a.tag for a in read_map(path, table).contacts] == ["V1_open", "V1_closed"]


@pytest.mark.parametrize(
    ("lines", "opcua", "words"),
    [
        (BOTH + "V1_open,discrete_input,7\n", False, ":4: V1_open stands in line 2"),
        ("V1_open,discrete_input,1\nV1_closed,discrete_input,1\n", False, "share discrete input 1"),
        (
            "V1_open,discrete_input,0,ns=2;s=A\nV1_closed,discrete_input,1,ns=2;s=A\n",
            True,
            "share ns=2;s=A",
        ),
    ],
)
def test_faults_of_an_address_map_are_said_before(
    lines: str, opcua: bool, words: str, tmp_path: Path
) -> None:
    """Would fail if two contacts could be read from one address, or one from two."""
    path = tmp_path / "map.csv"
    path.write_text(HEAD + lines)
    with pytest.raises(AddressError) as said:
        read_map(path, one_row_table(), opcua=opcua)
    assert words in str(said.value)


async def test_a_point_left_out_names_the_alarms_that_cannot_come(tmp_path: Path) -> None:
    """Would fail if a map with a contact missing was taken for whole, or alarmed for ever."""
    path, table, clock = tmp_path / "map.csv", one_row_table(), Clock()
    path.write_text(HEAD + "V1_closed,discrete_input,1\nMode,input_register,0\n")
    where = read_map(path, table)
    assert left_out(where, table) == ("V1_open",)
    assert [r.tag for r in cannot_come(where, table)] == [TAG]
    controller = Controller(table, default_addresses(table), modbus_port=free_port())
    source = ModbusSource(table, where, LOOPBACK, controller.modbus_port or 0)
    watch = watching(table, source, tmp_path / "log.sqlite", clock)
    async with controller:
        await controller.show("milking", RIGHT)
        for _ in range(5):
            clock.now += ON_S
            await watch.step()
        await source.close()
    assert not watch.snapshot.alarms
    watch.journal.close()

"""Reading positions and mode from a controller. Read only: nothing here can write to one."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from byrewright.engine.interlocks import Table
from byrewright.site.addresses import Address, Addresses

READ_TIMEOUT_S = 2.0
LARGEST_BITS, LARGEST_REGISTERS = 2000, 125
"""Most values one Modbus request may ask for (Modbus application protocol 1.1b3, from memory)."""
GAP = 16
"""Addresses nearer than this are read in one request."""


class SourceLost(Exception):  # a state, told to people by the watch
    """Nothing could be read; the text says why in plain words."""


@dataclass(frozen=True, slots=True)
class Sample:
    """What was read at one time: the mode's name (None: none or unknown) and the contacts."""

    mode: str | None
    contacts: Mapping[str, bool]
    heartbeat: int | None = None


class Source(Protocol):
    """Where the watch reads from."""

    @property
    def name(self) -> str:
        """What it is, for people."""

    async def read(self) -> Sample:
        """Read everything once, connecting first if need be.

        Raises:
            SourceLost: nothing can be read now.
        """

    async def close(self) -> None:
        """Let go of the connection."""


@dataclass(frozen=True, slots=True)
class _Block:
    first: int
    count: int


def blocks(numbers: Iterable[int], largest: int) -> list[_Block]:
    """Few requests that cover all addresses.

    >>> blocks([0, 1, 2, 500], 125)
    [_Block(first=0, count=3), _Block(first=500, count=1)]
    """
    made: list[_Block] = []
    for number in sorted(set(numbers)):
        last = made[-1] if made else None
        if last and number < last.first + last.count + GAP and number - last.first < largest:
            made[-1] = _Block(last.first, number - last.first + 1)
        else:
            made.append(_Block(number, 1))
    return made


def to_sample(
    table: Table, where: Addresses, value: Callable[[Address], int | bool], mode: str | None
) -> Sample:
    """Turn values by address into a sample; `mode` is the stated one where none can be read."""
    contacts = {a.tag: bool(value(a)) for a in where.contacts}
    beat = int(value(where.heartbeat)) if where.heartbeat else None
    if where.mode is not None:
        mode = table.mode(int(value(where.mode)))
    elif where.mode_contacts and mode is None:
        on = [m for m, a in where.mode_contacts.items() if value(a)]
        mode = on[0] if len(on) == 1 else None
    return Sample(mode, contacts, beat)


class ModbusSource:
    """Modbus TCP. Uses the read functions 02 (discrete inputs) and 04 (input registers) only."""

    def __init__(self, table: Table, where: Addresses, host: str, port: int = 502, *,
                 device: int = 1, mode: str | None = None) -> None:  # fmt: skip
        self.table, self.where, self.host, self.port = table, where, host, port
        self.device, self.mode = device, mode
        self._client: Any = None

    @property
    def name(self) -> str:
        return f"Modbus {self.host}:{self.port}"

    async def read(self) -> Sample:
        from pymodbus import ModbusException

        try:
            client = await self._connected()
            found: dict[tuple[str, int], int | bool] = {}
            for area, largest, ask in (
                ("discrete_input", LARGEST_BITS, client.read_discrete_inputs),
                ("input_register", LARGEST_REGISTERS, client.read_input_registers),
            ):
                wanted = [a.number for a in self.where.all() if a.area == area]
                for block in blocks(wanted, largest):
                    answer = await ask(block.first, count=block.count, device_id=self.device)
                    if answer.isError():
                        raise SourceLost(
                            f"{self.name} refuses address {block.first} ({area.replace('_', ' ')})"
                        )
                    values = answer.bits if area == "discrete_input" else answer.registers
                    for place in range(block.count):
                        found[area, block.first + place] = values[place]
        except (TimeoutError, ModbusException, OSError, IndexError):
            await self.close()
            raise SourceLost(f"{self.name} does not answer") from None
        except SourceLost:
            await self.close()
            raise
        return to_sample(self.table, self.where, lambda a: found[a.area, a.number], self.mode)

    async def _connected(self) -> Any:
        from pymodbus.client import AsyncModbusTcpClient

        if self._client is None or not self._client.connected:
            await self.close()
            self._client = AsyncModbusTcpClient(
                self.host, port=self.port, timeout=READ_TIMEOUT_S, retries=0, reconnect_delay=0
            )
            if not await self._client.connect():
                raise OSError("no connection")
        return self._client

    async def close(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


class OpcuaSource:
    """OPC UA. Reads values only; a value of bad quality counts as not read."""

    def __init__(
        self, table: Table, where: Addresses, url: str, *, mode: str | None = None
    ) -> None:
        self.table, self.where, self.url, self.mode = table, where, url, mode
        self._client: Any = None
        self._nodes: dict[str, Any] = {}

    @property
    def name(self) -> str:
        return f"OPC UA {self.url}"

    async def read(self) -> Sample:
        from asyncua.ua.uaerrors import UaError

        try:
            await self._connected()
            every = self.where.all()
            nodes = [self._nodes[a.node] for a in every]
            values = await asyncio.wait_for(self._client.read_values(nodes), READ_TIMEOUT_S)
            if any(v is None for v in values):
                bad = next(a.node for a, v in zip(every, values, strict=True) if v is None)
                raise SourceLost(f"{self.name}: {bad} has no good value")
        except (TimeoutError, UaError, OSError, ConnectionError):
            await self.close()
            raise SourceLost(f"{self.name} does not answer") from None
        except SourceLost:
            await self.close()
            raise
        found = {a.node: v for a, v in zip(every, values, strict=True)}
        return to_sample(self.table, self.where, lambda a: found[a.node], self.mode)

    async def _connected(self) -> None:
        from asyncua.client.client import Client

        if self._client is None:
            client = Client(self.url, timeout=READ_TIMEOUT_S)
            await asyncio.wait_for(client.connect(), 2 * READ_TIMEOUT_S)
            self._client = client
            self._nodes = {a.node: client.get_node(a.node) for a in self.where.all()}

    async def close(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            try:
                await asyncio.wait_for(client.disconnect(), READ_TIMEOUT_S)
            except Exception:  # the other end may be gone already: nothing is left to let go
                return

"""Reading positions and mode from a controller. Read only: nothing here can write to one.

A source gives a value or a reason for each point. A point that is refused, or holds what cannot be
a contact, is not known: it never ends the watch and never passes for on or off.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from byrewright.engine.interlocks import Table
from byrewright.site.addresses import Address, Addresses

READ_TIMEOUT_S = 2.0
LARGEST_BITS, LARGEST_REGISTERS = 2000, 125
"""Most values one Modbus request may ask for (Modbus application protocol 1.1b3, from memory)."""
GAP = 16
"""Addresses nearer than this are read in one request."""


SIMULATED_AT = 65_528
"""Modbus input registers in which a simulated controller says that it is one."""
SIMULATED = tuple(b"simulation"[i] << 8 | b"simulation"[i + 1] for i in range(0, 10, 2))
"""What they hold: the word, two letters a register."""
SIMULATED_URI = "urn:byrewright:simulated-controller"
"""The product address in the build information (OPC UA) of a simulated controller."""


def no_plant(name: str) -> str:
    """Why a simulated controller is not watched as a real plant."""
    return (f"{name} says that it is a simulated controller, not a plant: nothing of it is taken. "
            "Watch it as practice (--practice)")  # fmt: skip


class SourceLost(Exception):  # a state, told to people by the watch
    """Nothing could be read; the text says why in plain words."""


@dataclass(frozen=True, slots=True)
class NotKnown:
    """In place of a value that could not be read: why, in plain words."""

    why: str


@dataclass(frozen=True, slots=True)
class Sample:
    """What was read at one time: the mode's name (None: none or unknown) and the contacts.

    `unknown` gives the reason for each point, contact or other, that could not be read.
    """

    mode: str | None
    contacts: Mapping[str, bool]
    heartbeat: int | None = None
    unknown: Mapping[str, str] = field(default_factory=dict)


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


def contact(value: Any) -> bool | NotKnown:
    """A contact: true or false, or the number 0 or 1; anything else is not known.

    >>> contact(1), contact([True])
    (True, NotKnown(why='holds a list, not on or off'))
    """
    if isinstance(value, NotKnown):
        return value
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float) and value in (0, 1):
        return bool(value)
    return NotKnown(f"holds {_what(value)}, not on or off")


def whole(value: Any) -> int | NotKnown:
    """A whole number, such as the mode or the heartbeat."""
    if isinstance(value, NotKnown):
        return value
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if number and math.isfinite(value) and value == int(value):
        return int(value)
    return NotKnown(f"holds {_what(value)}, not a whole number")


def _what(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, str):
        return f"the text {value[:20]!r}"
    if isinstance(value, list | tuple):
        return "a list"
    return str(value)[:20] if isinstance(value, int | float) else f"a {type(value).__name__}"


def to_sample(
    table: Table, where: Addresses, value: Mapping[Address, Any], mode: str | None
) -> Sample:
    """Turn values by address into a sample; `mode` is the stated one where none can be read."""
    contacts: dict[str, bool] = {}
    unknown: dict[str, str] = {}

    def take(address: Address, made: Any) -> Any:
        if isinstance(made, NotKnown):
            unknown[address.tag] = made.why
            return None
        return made

    for one in (*where.contacts, *where.runs):
        found = take(one, contact(value[one]))
        if found is not None:
            contacts[one.tag] = found
    beat = take(where.heartbeat, whole(value[where.heartbeat])) if where.heartbeat else None
    if where.mode is not None:
        number = take(where.mode, whole(value[where.mode]))
        mode = table.mode(number) if number is not None else None
    elif where.mode_contacts and mode is None:
        shown = {m: take(a, contact(value[a])) for m, a in where.mode_contacts.items()}
        on = [m for m, is_on in shown.items() if is_on]
        mode = on[0] if len(on) == 1 and None not in shown.values() else None
    return Sample(mode, contacts, beat, unknown)


class ModbusSource:
    """Modbus TCP. Uses the read functions 02 (discrete inputs) and 04 (input registers) only."""

    def __init__(self, table: Table, where: Addresses, host: str, port: int = 502, *,
                 device: int = 1, mode: str | None = None, real: bool = False) -> None:  # fmt: skip
        """`real`: a plant is expected, and a simulated controller is refused."""
        self.table, self.where, self.host, self.port = table, where, host, port
        self.device, self.mode, self.real = device, mode, real
        self._asks = True
        self._client: Any = None
        self._singly: set[_Block] = set()

    @property
    def name(self) -> str:
        return f"Modbus {self.host}:{self.port}"

    async def read(self) -> Sample:
        try:
            client = await self._connected()
            found: dict[tuple[str, int], Any] = {}
            for area, largest, ask in (
                ("discrete_input", LARGEST_BITS, client.read_discrete_inputs),
                ("input_register", LARGEST_REGISTERS, client.read_input_registers),
            ):
                wanted = [a.number for a in self.where.all() if a.area == area]
                for block in blocks(wanted, largest):
                    inside = [n for n in wanted if 0 <= n - block.first < block.count]
                    for number, value in (await self._block(area, block, inside, ask)).items():
                        found[area, number] = value
        except SourceLost:
            await self.close()
            raise
        except TimeoutError:
            await self.close()
            raise SourceLost(f"{self.name} does not answer") from None
        except Exception as error:  # whatever comes over the wire must not end the watch
            await self.close()
            raise SourceLost(f"{self.name} {_silent(error)}") from None
        if found and all(isinstance(v, NotKnown) for v in found.values()):
            await self.close()
            raise SourceLost(f"{self.name} refuses every address that is asked")
        values = {a: found[a.area, a.number] for a in self.where.all()}
        return to_sample(self.table, self.where, values, self.mode)

    async def _block(
        self, area: str, block: _Block, inside: list[int], ask: Any
    ) -> dict[int, bool | int | NotKnown]:
        """Values of one request; where that is refused, of each address for itself."""
        if block not in self._singly:
            answer = await ask(block.first, count=block.count, device_id=self.device)
            if not answer.isError():
                values = list(answer.bits if area == "discrete_input" else answer.registers)
                if len(values) < block.count:
                    raise SourceLost(f"{self.name} answers with fewer values than were asked")
                return {n: values[n - block.first] for n in inside}
            self._singly.add(block)
        found: dict[int, bool | int | NotKnown] = {}
        for number in inside:
            answer = await ask(number, count=1, device_id=self.device)
            if answer.isError():
                found[number] = NotKnown(f"{area.replace('_', ' ')} {number} is refused")
            else:
                found[number] = (answer.bits if area == "discrete_input" else answer.registers)[0]
        return found

    async def _connected(self) -> Any:
        from pymodbus.client import AsyncModbusTcpClient

        if self._client is None or not self._client.connected:
            await self.close()
            self._singly.clear()
            self._client = AsyncModbusTcpClient(
                self.host, port=self.port, timeout=READ_TIMEOUT_S, retries=0, reconnect_delay=0
            )
            if not await self._client.connect():
                raise OSError("no connection")
            if self.real and self._asks:
                self._asks = False  # one that falls silent at this question is not asked again
                simulated = await modbus_simulated(self._client, self.device)
                self._asks = True
                if simulated:
                    raise SourceLost(no_plant(self.name))
        return self._client

    async def close(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


async def modbus_simulated(client: Any, device: int) -> bool:
    """Whether the controller at the other end says that it is simulated."""
    answer = await client.read_input_registers(SIMULATED_AT, count=len(SIMULATED), device_id=device)
    return not answer.isError() and tuple(answer.registers) == SIMULATED


async def modbus_says_simulated(host: str, port: int, device: int) -> bool:
    """The same of a controller that is not connected yet; raises whatever comes of trying."""
    from pymodbus.client import AsyncModbusTcpClient

    client = AsyncModbusTcpClient(
        host, port=port, timeout=READ_TIMEOUT_S, retries=0, reconnect_delay=0
    )
    try:
        return await client.connect() and await modbus_simulated(client, device)
    finally:
        client.close()


def _silent(error: Exception) -> str:
    from pymodbus import ModbusException

    quiet = isinstance(error, ModbusException | OSError)
    return "does not answer" if quiet else "answers what cannot be understood"

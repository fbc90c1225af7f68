"""A simulated controller: real Modbus TCP and OPC UA servers on loopback, to test and train."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from byrewright.engine.interlocks import Table
from byrewright.site.addresses import NAMESPACE, Addresses
from byrewright.site.sources import SIMULATED, SIMULATED_AT, SIMULATED_URI

LOOPBACK = "127.0.0.1"
COMPANY = "byrewright"
DISCRETE, REGISTER = 2, 4
"""Modbus read functions of discrete inputs and input registers."""


def free_port() -> int:
    """A port on loopback that nobody uses."""
    import socket

    with socket.socket() as one:
        one.bind((LOOPBACK, 0))
        return int(one.getsockname()[1])


class Controller:
    """Serves mode, heartbeat and contacts. `asked` counts requests by Modbus function.

    It says of itself that it is simulated, so that no watch takes it for a plant; `announces` is
    False where a test needs a stand-in for a real one.
    """

    def __init__(self, table: Table, where: Addresses, *, modbus_port: int | None = None,
                 opcua_port: int | None = None, announces: bool = True) -> None:  # fmt: skip
        self.table, self.where, self.announces = table, where, announces
        self.modbus_port, self.opcua_port = modbus_port, opcua_port
        self.asked: dict[int, int] = {}
        self._modbus: Any = None
        self._opcua: Any = None
        self._nodes: dict[str, Any] = {}
        self._beat = 0

    @property
    def opcua_url(self) -> str:
        return f"opc.tcp://{LOOPBACK}:{self.opcua_port}/"

    async def __aenter__(self) -> Controller:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    async def start(self) -> None:
        """Begin to serve on the ports given."""
        if self.modbus_port is not None:
            await self._start_modbus()
        if self.opcua_port is not None:
            await self._start_opcua()

    async def stop(self) -> None:
        """Stop serving, as if the cable were pulled."""
        modbus, self._modbus = self._modbus, None
        opcua, self._opcua = self._opcua, None
        if modbus is not None:
            await modbus.shutdown()
        if opcua is not None:
            await opcua.stop()

    async def show(
        self, mode: str | None, contacts: Mapping[str, bool], *, beat: bool = True
    ) -> None:
        """Set what is served."""
        self._beat = (self._beat + beat) % 65536
        number = self.table.number(mode) if mode else 0
        value: Callable[[str], int | bool] = lambda tag: contacts.get(tag, False)  # noqa: E731
        values: list[tuple[str, str, int, int | bool]] = [
            (a.node, a.area, a.number, value(a.tag))
            for a in (*self.where.contacts, *self.where.runs)
        ]
        values += [
            (a.node, a.area, a.number, m == mode) for m, a in self.where.mode_contacts.items()
        ]
        if self.where.mode:
            values.append(
                (self.where.mode.node, self.where.mode.area, self.where.mode.number, number)
            )
        if self.where.heartbeat:
            one = self.where.heartbeat
            values.append((one.node, one.area, one.number, self._beat))
        if self._modbus is not None:
            await self._show_modbus(values)
        if self._opcua is not None:
            for node, _, _, v in values:
                await self._nodes[node].write_value(v)

    # Modbus ----------------------------------------------------------------------------------

    async def _start_modbus(self) -> None:
        from pymodbus.server import ModbusTcpServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        def size(area: str) -> int:
            return max([a.number for a in self.where.all() if a.area == area], default=0) + 1

        bits = SimData(
            0, values=[False] * (-(-size("discrete_input") // 16) * 16), datatype=DataType.BITS
        )
        registers = SimData(0, values=[0] * size("input_register"), datatype=DataType.REGISTERS)
        coil = SimData(0, values=[False] * 16, datatype=DataType.BITS)
        holding = SimData(0, values=[0], datatype=DataType.REGISTERS)
        inputs = [registers]
        if self.announces and size("input_register") <= SIMULATED_AT:
            said = SimData(SIMULATED_AT, values=list(SIMULATED), datatype=DataType.REGISTERS)
            inputs.append(said)
        device = SimDevice(1, ([coil], [bits], [holding], inputs))
        self._modbus = ModbusTcpServer(
            device, address=(LOOPBACK, self.modbus_port or 0), trace_pdu=self._count
        )
        await self._modbus.serve_forever(background=True)

    def _count(self, sending: bool, pdu: Any) -> Any:
        if not sending:
            self.asked[pdu.function_code] = self.asked.get(pdu.function_code, 0) + 1
        return pdu

    async def _show_modbus(self, values: list[tuple[str, str, int, int | bool]]) -> None:
        for area, function in (("discrete_input", DISCRETE), ("input_register", REGISTER)):
            numbered = {n: v for _, a, n, v in values if a == area}
            if not numbered:
                continue
            row = [numbered.get(i, 0) for i in range(max(numbered) + 1)]
            if function == DISCRETE:
                await self._modbus.async_setValues(1, function, 0, [bool(v) for v in row])
            else:
                await self._modbus.async_setValues(1, function, 0, [int(v) for v in row])

    # OPC UA ----------------------------------------------------------------------------------

    async def _start_opcua(self) -> None:
        from asyncua import ua
        from asyncua.server.server import Server

        server = Server()
        await server.init()
        server.set_endpoint(self.opcua_url)
        server.set_server_name("byrewright simulated controller")
        server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
        if self.announces:
            name = "simulated controller"
            await server.set_build_info(SIMULATED_URI, COMPANY, name, "", "", datetime.now(UTC))
        space = await server.register_namespace(NAMESPACE)
        folder = await server.nodes.objects.add_folder(space, "Interlocks")
        self._nodes = {}
        for one in self.where.all():
            boolean = one.area == "discrete_input"
            kind = ua.VariantType.Boolean if boolean else ua.VariantType.Int64
            self._nodes[one.node] = await folder.add_variable(
                ua.NodeId.from_string(one.node), one.tag, False if boolean else 0, kind
            )
        await server.start()
        self._opcua = server

"""OPC UA: values are read, nothing is written or called. Encrypted sessions by settings."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from byrewright.engine.interlocks import Table
from byrewright.errors import ByrewrightError
from byrewright.site.addresses import Addresses
from byrewright.site.sources import (
    READ_TIMEOUT_S,
    SIMULATED_URI,
    NotKnown,
    Sample,
    SourceLost,
    no_plant,
    to_sample,
)

PRODUCT_URI = "i=2262"
"""Node of the product address in a server's build information (OPC UA Part 6, node ids, from
memory; read back from a server in the tests)."""


class OpcuaMissing(ByrewrightError):
    """The extra part that speaks OPC UA is not installed."""


def need_opcua() -> None:
    """Tell at once, and not in the middle of a watch, that the extra part is missing.

    Raises:
        OpcuaMissing: it is.
    """
    if find_spec("asyncua") is None:
        raise OpcuaMissing(
            "OPC UA needs an extra part that is not installed: run 'make opcua', or install "
            "byrewright[opcua]; Modbus TCP works without it"
        )


@dataclass(frozen=True, slots=True)
class Security:
    """An encrypted session: the policy, our certificate and key, theirs, and who we are."""

    policy: str = "Basic256Sha256"
    certificate: Path | None = None
    key: Path | None = None
    server_certificate: Path | None = None
    user: str = ""
    password: str = ""


class OpcuaSource:
    """OPC UA. Reads values only; a value of bad quality counts as not known."""

    def __init__(
        self, table: Table, where: Addresses, url: str, *, mode: str | None = None,
        security: Security | None = None, real: bool = False,
    ) -> None:  # fmt: skip
        """`real`: a plant is expected, and a simulated controller is refused."""
        self.table, self.where, self.url, self.mode = table, where, url, mode
        self.security, self.real = security, real
        self._client: Any = None
        self._nodes: list[Any] = []

    @property
    def name(self) -> str:
        return f"OPC UA {self.url}"

    async def read(self) -> Sample:
        every = self.where.all()
        try:
            await self._connected()
            answers = await asyncio.wait_for(
                self._client.read_attributes(self._nodes), READ_TIMEOUT_S
            )
            if len(answers) != len(every):
                raise SourceLost(f"{self.name} answers with another number of values")
            values = {a: _value(v) for a, v in zip(every, answers, strict=True)}
        except SourceLost:
            await self.close()
            raise
        except Exception as error:  # whatever comes over the wire must not end the watch
            await self.close()
            raise SourceLost(f"{self.name} {_why(error, self.security)}") from None
        if values and all(isinstance(v, NotKnown) for v in values.values()):
            await self.close()
            raise SourceLost(f"{self.name} gives no good value")
        return to_sample(self.table, self.where, values, self.mode)

    async def _connected(self) -> None:
        if self._client is not None:
            return
        client = await _client(self.url, self.security)
        self._client = client
        if self.real and await opcua_simulated(client):
            raise SourceLost(no_plant(self.name))
        self._nodes = [client.get_node(a.node) for a in self.where.all()]

    async def close(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            try:
                await asyncio.wait_for(client.disconnect(), READ_TIMEOUT_S)
            except Exception:  # the other end may be gone already: nothing is left to let go
                return


async def opcua_simulated(client: Any) -> bool:
    """Whether the controller at the other end says that it is simulated."""
    from asyncua.ua.uaerrors import UaError

    node = client.get_node(PRODUCT_URI)
    try:
        return bool(await asyncio.wait_for(node.read_value(), READ_TIMEOUT_S) == SIMULATED_URI)
    except UaError:  # a server that keeps no build information
        return False


async def opcua_says_simulated(url: str, security: Security | None) -> bool:
    """The same of a controller that is not connected yet; raises whatever comes of trying."""
    client = await _client(url, security)
    try:
        return await opcua_simulated(client)
    finally:
        await asyncio.wait_for(client.disconnect(), READ_TIMEOUT_S)


async def _client(url: str, security: Security | None) -> Any:
    """A connected client."""
    from asyncua.client.client import Client

    client = Client(url, timeout=READ_TIMEOUT_S)
    if security is not None:
        await _secure(client, security)
    try:
        await asyncio.wait_for(client.connect(), 2 * READ_TIMEOUT_S)
    except BaseException:
        client.disconnect_socket()
        raise
    return client


async def _secure(client: Any, how: Security) -> None:
    from asyncua import ua
    from asyncua.crypto import security_policies

    if how.certificate is not None and how.key is not None:
        files = [str(one) for one in (how.certificate, how.key, how.server_certificate) if one]
        try:
            await client.set_security(
                getattr(security_policies, f"SecurityPolicy{how.policy}"),
                *files[:2],
                server_certificate=files[2] if files[2:] else None,
                mode=ua.MessageSecurityMode.SignAndEncrypt,
            )
        except (ValueError, TypeError) as error:
            raise SourceLost(
                f"{', '.join(files)}: one of these is no certificate or key that can be used; "
                "certificates in DER or PEM, the key in PEM without a password"
            ) from error
    if how.user:
        client.set_user(how.user)
        client.set_password(how.password)


def _value(answer: Any) -> Any:
    """The plain value of an answer, or why there is none."""
    if not answer.StatusCode.is_good():
        return NotKnown(f"has no good value ({answer.StatusCode.name})")
    return None if answer.Value is None else answer.Value.Value


def _why(error: Exception, asked: Security | None) -> str:
    from asyncua.ua.uaerrors import UaError

    name = type(error).__name__
    if isinstance(error, UaError) and any(
        w in name for w in ("Security", "Identity", "Certificate", "User", "Denied")
    ):
        return f"refuses this session ({name})"
    if type(error) is UaError:  # the library's own: no endpoint is as we ask
        policy = asked.policy if asked is not None and asked.certificate else "none"
        return f"offers no session with security {policy}; watch.yaml sets it (opcua: security)"
    if isinstance(error, TimeoutError) and asked is not None and asked.certificate:
        return "does not answer, or does not accept certificate and key of watch.yaml"
    if isinstance(error, TimeoutError | UaError | OSError):
        return "does not answer"
    return f"answers what cannot be understood ({name})"

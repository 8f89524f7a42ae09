"""The page as a server of this machine."""

from __future__ import annotations

import asyncio
import secrets
import socket
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from slotwright.cli.desk.answers import Desk
from slotwright.cli.desk.guard import Guard
from slotwright.layout.errors import SlotwrightError

if TYPE_CHECKING:
    from collections.abc import Callable

    from slotwright.cli.desk.entrance import Entrance
    from slotwright.cli.desk.keeper import Keeper

MOST_CONNECTIONS: Final = 48
_SILENT: Final = 10.0  # s that a connection may ask for nothing
_CLOSING: Final = 1  # s that open answers have once the desk closes


class _FewConnections(H11Protocol):
    """Closes a connection at once when there are enough."""

    def connection_made(self, transport: Any) -> None:  # noqa: ANN401 - as its base has it
        if len(self.connections) >= MOST_CONNECTIONS:
            transport.abort()
            return
        super().connection_made(transport)
        # Whoever asks for nothing is in the way of those who do.
        self.loop.call_later(_SILENT, lambda: None if self.cycle else transport.abort())

    def connection_lost(self, exc: Exception | None) -> None:
        if self in self.connections:
            super().connection_lost(exc)


class _Server(uvicorn.Server):
    """A server that ends by itself after some time, and lets waiting pages go when it ends."""

    def __init__(
        self, config: uvicorn.Config, desk: Desk, seconds: float | None, started: Callable[[], None]
    ) -> None:
        super().__init__(config)
        self.desk, self._seconds, self._started = desk, seconds, started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self._started()  # from now on Ctrl-C is waited for
        if self._seconds is not None:
            asyncio.get_running_loop().call_later(self._seconds, self._stop)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self.desk.end()
        await super().shutdown(sockets)
        self.desk.close()

    def _stop(self) -> None:
        self.should_exit = True


def listen(port: int) -> socket.socket:
    """Open the door: this machine alone gets to it.

    Parameters
    ----------
    port
        Where; 0 takes any that is free.

    Raises
    ------
    SlotwrightError
        Another program is there.
    """
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind(("127.0.0.1", port))
    except OSError as error:
        door.close()
        raise SlotwrightError(f"--port {port}: {(error.strerror or 'refused').lower()}; leave it out") from None
    return door


def guarded(begun: Keeper | Entrance, port: int, token: str) -> tuple[Guard, Desk]:
    """Put the guard before a desk."""
    desk = Desk(begun)
    return Guard(desk.app, port, token), desk


def set_up(
    begun: Keeper | Entrance,
    door: socket.socket,
    seconds: float | None = None,
    told: Callable[[str], None] = lambda _: None,
) -> tuple[str, _Server]:
    """Make the server of a desk, which somebody may knock at from now on.

    Parameters
    ----------
    begun
        The plan, which is given up in the end, or the entrance where one is chosen.
    door
        Where it is asked, as `listen` gives it.
    seconds
        How long; None has no end.
    told
        Is called with the address once the server runs.

    Returns
    -------
    tuple
        The address, with a token of its own, and the server, to be run.
    """
    token = secrets.token_urlsafe(24)
    port = door.getsockname()[1]
    app, desk = guarded(begun, port, token)
    config = uvicorn.Config(
        app,
        http=_FewConnections,
        ws="none",
        lifespan="on",
        log_level="critical",
        server_header=False,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=_CLOSING,
        h11_max_incomplete_event_size=16_384,
    )
    door.listen(64)
    address = f"http://127.0.0.1:{port}/{token}/"
    return address, _Server(config, desk, seconds, lambda: told(address))


def serve(
    begun: Keeper | Entrance, door: socket.socket, seconds: float | None, told: Callable[[str], None]
) -> Keeper | None:
    """Answer until Ctrl-C or the end of the time, `told` the address first; give the plan that was open."""
    _, server = set_up(begun, door, seconds, told)
    with suppress(KeyboardInterrupt):
        server.run(sockets=[door])
    return server.desk.keeper

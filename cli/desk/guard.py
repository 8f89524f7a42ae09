"""Who may speak to the desk: this machine, with the token, in small requests."""

from __future__ import annotations

import hmac
from typing import TYPE_CHECKING, Final

from starlette.exceptions import HTTPException

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY: Final = 64_000  # bytes
MOST_SOUND: Final = 160_000_000  # bytes; a quarter of an hour and some
RECORDING: Final = "/recording"  # where sound is sent to
_TOO_MUCH: Final = "That is more than this page takes."
HEADERS: Final = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """Let through what was asked by the page itself, and tell everybody else so in one line.

    Parameters
    ----------
    app
        What answers.
    port
        Where it is asked.
    token
        The first part of every path; it is taken off before `app` sees it.
    """

    def __init__(self, app: ASGIApp, port: int, token: str) -> None:
        self._app = app
        self._hosts = (f"127.0.0.1:{port}", f"localhost:{port}")
        self._token = token.encode()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refused = self._refusal(scope)
        if refused:
            await _tell(send, *refused)
            return
        rest = scope["path"].split("/", 2)[2]
        inner = {**scope, "path": f"/{rest}", "raw_path": f"/{rest}".encode(), "root_path": ""}

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {name for name, _ in message.get("headers", ())}
                ours = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                ours = [(name, value) for name, value in ours if name not in there]
                message = {**message, "headers": [*message.get("headers", ()), *ours]}
            await send(message)

        await self._app(inner, _limited(receive, _most(inner["path"])), answer)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value)
        hosts = [host.decode("latin-1") for host in headers.get(b"host", ())]
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return 403, "This page answers to its own address alone."
        if any(origin.decode("latin-1") != f"http://{hosts[0]}" for origin in headers.get(b"origin", ())):
            return 403, "Another page may neither read nor write this one."
        token, slash, rest = scope["path"].encode("utf-8", "surrogateescape")[1:].partition(b"/")
        if not slash or not hmac.compare_digest(token, self._token):
            return 403, "Open the address that slotwright desk printed, all of it."
        lengths = headers.get(b"content-length", [b"0"])
        most = _most(f"/{rest.decode('latin-1')}")
        if any(not length.isdigit() or len(length) > 9 or int(length) > most for length in lengths):
            return 413, _TOO_MUCH
        return None


def _most(path: str) -> int:
    return MOST_SOUND if path == RECORDING else MOST_BODY


def _limited(receive: Receive, most: int) -> Receive:
    taken = 0

    async def part() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise HTTPException(413, f"{_TOO_MUCH}\n")
        return message

    return part


async def _tell(send: Send, status: int, words: str) -> None:
    body = f"{words}\n".encode()
    headers = {**HEADERS, "content-type": "text/plain; charset=utf-8", "content-length": str(len(body))}
    ours = [(name.encode(), value.encode()) for name, value in headers.items()]
    await send({"type": "http.response.start", "status": status, "headers": ours})
    await send({"type": "http.response.body", "body": body})

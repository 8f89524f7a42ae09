"""What the page asks for, and the answers."""

from __future__ import annotations

import asyncio
import json
import traceback
from contextlib import asynccontextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route
from watchfiles import awatch

from slotwright.cli.desk import state
from slotwright.cli.desk.entrance import Entrance
from slotwright.cli.desk.files import KINDS, SHOWN, Printing, made
from slotwright.cli.desk.guard import RECORDING
from slotwright.cli.desk.measured import OF_FRETS, OF_WIRE, READ, measured_neck, old_board
from slotwright.cli.desk.page import asset, fault_words, milled, page, parts
from slotwright.cli.desk.rounds import keep, listen, next_round, put, with_fret, with_recording
from slotwright.cli.desk.state import Clash, Refused
from slotwright.cli.desk.tables import add, take_out
from slotwright.layout.errors import MillError, SlotwrightError

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence

    from starlette.requests import Request
    from watchfiles import Change

    from slotwright.cli.desk.keeper import Keeper
    from slotwright.cli.desk.state import Outcome

_PAUSE: Final = 0.5  # s, before a folder that went is looked for again
_BEAT: Final = 15.0  # s; a line to a page that would not know otherwise whether the desk is still there
_ASSETS: Final = ("desk.css", "desk.js", "recorder.js", "entrance.js")
_CHANGES: Final[Mapping[str, tuple[Mapping[str, type], Callable[..., Outcome]]]] = {
    "edit": ({"key": str, "given": str, "seen": str}, state.edit),
    "add": ({"what": str}, add),
    "remove": ({"path": str}, take_out),
    "cell": ({"cell": str, "given": str, "seen": str}, put),
    "fret": ({"fret": int}, with_fret),
    "round": ({}, next_round),
    "keep": ({"what": str}, keep),
}  # where, what is asked with, and what it does


class Desk:
    """The answers of one desk.

    Parameters
    ----------
    begun
        The plan, or the entrance where one is chosen.
    """

    def __init__(self, begun: Keeper | Entrance) -> None:
        self._begun = begun
        self._chosen, self._left = asyncio.Event(), asyncio.Event()
        self._opening, self._listening = asyncio.Lock(), asyncio.Lock()
        self._waiting: set[asyncio.Event] = set()
        self.ended = False
        self.app = Starlette(
            routes=[
                Route("/", self._page),
                *(Route(f"/{name}", self._asset) for name in _ASSETS),
                Route("/open", self._open, methods=["POST"]),
                Route("/new", self._new, methods=["POST"]),
                Route("/measure", self._measure, methods=["POST"]),
                Route("/board", self._board, methods=["POST"]),
                Route("/neck", self._neck, methods=["POST"]),
                Route("/leave", self._leave, methods=["POST"]),
                Route("/parts", self._parts),
                Route("/events", self._events),
                *(Route(f"/{where}", self._changing(*how), methods=["POST"]) for where, how in _CHANGES.items()),
                Route("/step", self._step, methods=["POST"]),
                Route("/save", self._save, methods=["POST"]),
                Route("/job", self._job, methods=["POST"]),
                Route(RECORDING, self._recording, methods=["POST"]),
                Route("/programs", self._programs),
                Route("/files/{name}", self._file),
            ],
            lifespan=self._watching,
            exception_handlers={Exception: _failed},
        )

    @property
    def keeper(self) -> Keeper | None:
        """The plan that is open; None while none is."""
        return None if isinstance(self._begun, Entrance) else self._begun

    @property
    def _keeper(self) -> Keeper:
        if isinstance(self._begun, Entrance):
            raise HTTPException(404, "No plan is on the desk yet.\n")
        return self._begun

    async def _page(self, _: Request) -> Response:
        if isinstance(self._begun, Entrance):
            return Response(await run_in_threadpool(self._begun.page), media_type="text/html")
        await run_in_threadpool(self._keeper.look)
        return Response(await run_in_threadpool(page, self._keeper), media_type="text/html")

    async def _asset(self, request: Request) -> Response:
        name = request.url.path.rpartition("/")[2]
        return Response(asset(name), media_type="text/css" if name.endswith(".css") else "text/javascript")

    async def _open(self, request: Request) -> Response:
        return await self._begin(request, {"name": str, "job": str}, Entrance.open)

    async def _new(self, request: Request) -> Response:
        wanted = dict.fromkeys(("name", "job", "starter", "strings", "scale"), str)
        return await self._begin(request, wanted, Entrance.begin)

    async def _neck(self, request: Request) -> Response:
        return await self._begin(request, dict.fromkeys(("name", "job", *READ), str), Entrance.measure)

    async def _measure(self, request: Request) -> Response:
        return await self._find(request, ("unit", "table"), measured_neck)

    async def _board(self, request: Request) -> Response:
        return await self._find(request, ("unit", "table", "binding", "plane", *OF_WIRE, *OF_FRETS), old_board)

    async def _find(self, request: Request, wanted: Sequence[str], how: Callable[..., dict[str, Any]]) -> Response:
        """Say what measurements tell, before there is any plan."""
        asked = await _asked(request, dict.fromkeys(wanted, str))
        if asked is None or not isinstance(self._begun, Entrance):
            return _no_question()
        try:
            return JSONResponse({"outcome": "found", **await run_in_threadpool(how, **asked)})
        except SlotwrightError as error:
            return JSONResponse({"outcome": "refused", "words": str(error)})

    async def _begin(self, request: Request, wanted: Mapping[str, type], how: Callable[..., Keeper]) -> Response:
        """Lay a plan on a desk that has none yet."""
        asked = await _asked(request, wanted)
        if asked is None:
            return _no_question()
        async with self._opening:
            if not isinstance(self._begun, Entrance):
                words = f"{self._begun.path.name} is open already, in another tab; load this page again"
                return JSONResponse({"outcome": "refused", "words": words})
            try:
                self._begun = await run_in_threadpool(how, self._begun, **asked)
            except (SlotwrightError, OSError) as error:
                return JSONResponse({"outcome": "refused", "words": str(error)})
            self._chosen.set()
        return JSONResponse({"outcome": "done"})

    async def _leave(self, request: Request) -> Response:
        """Put the plan away and go back to the entrance."""
        if await _asked(request, {}) is None:
            return _no_question()
        async with self._opening:
            keeper = self._keeper
            if keeper.asks and keeper.unsaved:
                return JSONResponse({"outcome": "refused", "words": "Save first, or undo what was not saved."})
            self._chosen.clear()
            self._begun = Entrance(keeper.path.parent, keeper.asks)
            keeper.close()
        self._left.set()
        self._tell()
        return JSONResponse({"outcome": "done"})

    async def _parts(self, _: Request) -> Response:
        return JSONResponse(await run_in_threadpool(self._whole))

    def _changing(
        self, wanted: Mapping[str, type], how: Callable[..., Outcome]
    ) -> Callable[..., Awaitable[Response]]:
        """Make what changes the desk as the page asks, and says what came of it."""

        async def change(request: Request) -> Response:
            asked = await _asked(request, wanted)
            if asked is None:
                return _no_question()
            try:
                outcome = await run_in_threadpool(self._keeper.change, lambda desk: how(desk, **asked))
            except OSError as error:
                return _not_written(error)
            return await self._outcome(outcome)

        return change

    async def _outcome(self, outcome: Outcome) -> Response:
        whole = await run_in_threadpool(self._whole)
        if isinstance(outcome, Clash):
            return JSONResponse({"outcome": "clash", "mine": outcome.mine, "theirs": outcome.theirs, **whole})
        if isinstance(outcome, Refused):
            return JSONResponse({"outcome": "refused", "faults": fault_words(outcome.faults)})
        self._tell()
        return JSONResponse({"outcome": "done", **whole})

    async def _save(self, request: Request) -> Response:
        return await self._do(request, {}, self._keeper.save)

    async def _job(self, request: Request) -> Response:
        return await self._do(request, {"name": str}, self._keeper.take_job)

    async def _do(self, request: Request, wanted: Mapping[str, type], what: Callable[..., None]) -> Response:
        """Do what changes no value."""
        asked = await _asked(request, wanted)
        if asked is None:
            return _no_question()
        try:
            await run_in_threadpool(what, **asked)
        except OSError as error:
            return _not_written(error)
        self._tell()
        return JSONResponse({"outcome": "done", **await run_in_threadpool(self._whole)})

    async def _recording(self, request: Request) -> Response:
        """Hear a recording, which comes as it is, and add its notes to this round."""
        if request.headers.get("content-type") != "application/octet-stream":
            return _no_question()
        if self._listening.locked():
            return PlainTextResponse("Another recording is being listened to.\n", 409)
        async with self._listening:
            sound, asked, keeper = await request.body(), request.query_params, self._keeper
            told = (asked.get("suffix", ""), asked.get("played", ""))
            found = await run_in_threadpool(listen, keeper.desk, sound, *told)
            if isinstance(found, Refused):
                return await self._outcome(found)
            add = partial(with_recording, found=found, path=keeper.readings)
            try:
                outcome = await run_in_threadpool(keeper.change, add)
            except OSError as error:
                return _not_written(error)
        return await self._outcome(outcome)

    async def _step(self, request: Request) -> Response:
        asked = await _asked(request, {"step": int, "version": int})
        if asked is None:
            return _no_question()
        try:
            went = await run_in_threadpool(self._keeper.go_to, **asked)
        except OSError as error:
            return _not_written(error)
        self._tell()
        return JSONResponse({"outcome": "done" if went else "changed", **await run_in_threadpool(self._whole)})

    async def _file(self, request: Request) -> Response:
        name = request.path_params["name"]
        await run_in_threadpool(self._keeper.look)
        asked = request.query_params
        printing = Printing(**{key: asked[key] for key in ("paper", "measured") if asked.get(key)})
        try:
            content = await run_in_threadpool(made, self._keeper.desk, self._keeper.path.stem, name, printing)
        except SlotwrightError as error:
            return PlainTextResponse(f"{error}\n", 409)
        if content is None:
            return PlainTextResponse("There is no such file of this plan.\n", 404)
        kind = KINDS[name.rpartition(".")[2]]
        shown = "show" in asked and kind in SHOWN
        where = {"content-disposition": "inline" if shown else "attachment"}
        # A page that is shown keeps to what it allows itself; it may ask nothing of this one.
        own = {"content-security-policy": "connect-src 'none'; form-action 'none'; frame-ancestors 'none'"}
        return Response(content, media_type=kind, headers=where | (own if shown else {}))

    async def _programs(self, _: Request) -> Response:
        await run_in_threadpool(self._keeper.look)
        if self._keeper.desk.faults or self._keeper.desk.instrument.plan.machine is None:
            return PlainTextResponse("This plan has no machine.\n", 404)
        try:
            return JSONResponse({"outcome": "done", "html": await run_in_threadpool(milled, self._keeper)})
        except MillError as error:
            return JSONResponse({"outcome": "refused", "faults": fault_words(error.faults)})

    async def _events(self, _: Request) -> Response:
        return StreamingResponse(self._news(), media_type="text/event-stream")

    def _whole(self) -> dict[str, Any]:
        return {"version": self._keeper.version, "parts": parts(self._keeper)}

    async def _news(self) -> AsyncIterator[str]:
        """Tell the version of the plan at once and whenever it changes, until the desk closes."""
        bell = asyncio.Event()
        self._waiting.add(bell)
        try:
            while not self.ended:
                bell.clear()
                if isinstance(self._begun, Entrance):
                    yield "data: left\n\n"
                    return
                yield f"data: {self._begun.version}\n\n"
                with suppress(TimeoutError):
                    await asyncio.wait_for(bell.wait(), _BEAT)
        finally:
            self._waiting.discard(bell)

    def _tell(self) -> None:
        for bell in self._waiting:
            bell.set()

    def end(self) -> None:
        """Let the pages that wait go."""
        self.ended = True
        self._tell()

    def close(self) -> None:
        """Give up the plan."""
        if not isinstance(self._begun, Entrance):
            self._begun.close()

    @asynccontextmanager
    async def _watching(self, _: Starlette) -> AsyncIterator[None]:
        if not isinstance(self._begun, Entrance):
            self._chosen.set()
        watch = asyncio.create_task(self._watch())
        try:
            yield
        finally:
            watch.cancel()
            with suppress(asyncio.CancelledError):
                await watch

    async def _watch(self) -> None:
        """Look at the plan and its readings whenever something happens to them in their folders."""
        while True:
            await self._chosen.wait()
            self._left.clear()
            keeper = self._keeper
            names = {file.name for file in (keeper.path, keeper.readings)}
            folders = {file.parent for file in (keeper.path, keeper.readings) if file.parent.is_dir()}
            # A folder may go, and come again.
            with suppress(OSError, RuntimeError):
                async for _ in awatch(
                    *folders,
                    recursive=False,
                    watch_filter=partial(_is_of, names),
                    stop_event=self._left,
                ):
                    with suppress(OSError):
                        if await run_in_threadpool(keeper.look):
                            self._tell()
            await asyncio.sleep(_PAUSE)


def _is_of(names: set[str], _: Change, changed: str) -> bool:
    return Path(changed).name in names


async def _asked(request: Request, wanted: Mapping[str, type]) -> dict[str, Any] | None:
    """Read what the page asks for; None where it is not that."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        return None
    try:
        given = json.loads(await request.body())
    except (ValueError, RecursionError):
        return None
    fits = isinstance(given, dict) and {name: type(value) for name, value in given.items()} == wanted
    return given if fits and all(_is_text(value) for value in given.values()) else None


def _is_text(value: object) -> bool:
    """Tell halves of letters, which no file can hold, from text and numbers."""
    return not isinstance(value, str) or not any("\ud800" <= letter <= "\udfff" for letter in value)


def _failed(_: Request, error: Exception) -> Response:
    """Say that something is wrong with the desk itself, and what, to whoever looks at its terminal."""
    traceback.print_exception(error)
    return PlainTextResponse(f"The desk failed ({type(error).__name__}); its window says more.\n", 500)


def _no_question() -> Response:
    return PlainTextResponse("That is no question of this page.\n", 400)


def _not_written(error: OSError) -> Response:
    """Say that the machine refused to write; the plan file is as it was."""
    words = f"Nothing was written: {(error.strerror or str(error)).lower()}."
    return JSONResponse({"outcome": "failed", "words": words})

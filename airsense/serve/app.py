"""The pages and what they do, as an ASGI application."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from pathlib import Path

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from airsense.errors import InputError
from airsense.logs.canon import CANON
from airsense.serve.child import OUT, own_fault
from airsense.serve.forms import MORE_ROWS, row_count
from airsense.serve.guard import Guard
from airsense.serve.kinds import KINDS, Kind
from airsense.serve.pages import columns_page, problem_page, render, style, with_bar
from airsense.serve.room import Piece, Room, Stands
from airsense.serve.uploads import Limits, Sent, TooLargeError, receive_form, store

# Figures of the engine: kept for the next form, because a day's work is one engine's.
_ENGINE = ("name", "displacement_l", "cylinders", "ignition", "induction", "boost_control")
_KEPT = (*_ENGINE, "place", "fuel", "power_at")


def make_app(
    room: Room,
    *,
    port: int,
    key: str,
    limits: Limits | None = None,
    end: Callable[[], None] = lambda: None,
) -> Guard:
    """Return the guarded application; `end` is called when the person at the browser ends it."""
    desk = _Desk(room, limits or Limits(), end)
    app = Starlette(
        routes=[
            Route("/", desk.start_page),
            Route("/style.css", desk.style_sheet),
            Route("/new/{kind}", desk.new_page),
            Route("/new/{kind}", desk.take_new, methods=["POST"]),
            Route("/work/{number:int}", desk.work_page),
            Route("/work/{number:int}/form", desk.form_page),
            Route("/work/{number:int}/form", desk.take_form, methods=["POST"]),
            Route("/work/{number:int}/columns", desk.columns_page),
            Route("/work/{number:int}/columns", desk.take_columns, methods=["POST"]),
            Route("/work/{number:int}/remove", desk.remove, methods=["POST"]),
            Route("/work/{number:int}/files/{name}", desk.file),
            Route("/end", desk.end, methods=["POST"]),
        ],
        exception_handlers={InputError: _problem, HTTPException: _no_page, Exception: _fault},
    )
    return Guard(app, port=port, key=key)


class _Desk:
    """What each address does."""

    def __init__(self, room: Room, limits: Limits, end: Callable[[], None]) -> None:
        self._room = room
        self._limits = limits
        self._end = end

    async def start_page(self, request: Request) -> Response:
        """Show the questions, and the work since the start."""
        return HTMLResponse(render("start", pieces=self._room.pieces))

    async def style_sheet(self, request: Request) -> Response:
        """Give the style sheet."""
        return Response(style(), media_type="text/css")

    async def new_page(self, request: Request) -> Response:
        """Show an empty form, but for the engine that was typed last."""
        kind = _kind(request)
        last = next((p.fields for p in self._room.pieces if p.fields), {})
        return _form(kind, {k: last[k] for k in _KEPT if k in last})

    async def take_new(self, request: Request) -> Response:
        """Begin a piece of work with what was sent."""
        kind = _kind(request)
        async with receive_form(request, self._limits) as sent:
            if "more" in sent.fields:
                return _form(kind, _longer(sent))
            return await self._take(self._room.new(kind), sent)

    async def form_page(self, request: Request) -> Response:
        """Show the form as it was filled in."""
        piece = self._piece(request)
        return _form(piece.kind, piece.fields, piece)

    async def take_form(self, request: Request) -> Response:
        """Go on with a piece of work with what was sent."""
        piece = self._piece(request)
        async with receive_form(request, self._limits) as sent:
            if piece.stands is Stands.BUSY:
                return _to(piece)
            if "more" in sent.fields:
                return _form(piece.kind, _longer(sent), piece)
            return await self._take(piece, sent)

    async def _take(self, piece: Piece, sent: Sent) -> Response:
        piece.fields = {k: v for k, v in sent.fields.items() if not k.startswith("remove-")}
        piece.channels, piece.seen, piece.files = {}, (), ()
        try:
            await asyncio.to_thread(store, piece.kind, piece.folder, sent)
            self._room.start(piece, "read" if piece.kind.has_logs else "answer")
        except InputError as error:
            return _form(piece.kind, piece.fields, piece, error)
        return _to(piece)

    async def work_page(self, request: Request) -> Response:
        """Show where a piece of work stands: at work, read, answered, or in need of a hand."""
        piece = self._piece(request)
        if piece.stands is Stands.BUSY:
            return HTMLResponse(render("wait", piece=piece))
        if piece.stands is Stands.READ:
            return HTMLResponse(columns_page(piece))
        if piece.stands is Stands.ANSWERED:
            file = piece.folder / OUT / piece.files[0]
            page, policy = with_bar(file.read_text(encoding="utf-8"), piece)
            return HTMLResponse(page, headers={"Content-Security-Policy": policy})
        if piece.error is not None:
            return HTMLResponse(problem_page(piece.error, piece))
        return _form(piece.kind, piece.fields, piece)

    async def columns_page(self, request: Request) -> Response:
        """Show what was recognised, again."""
        piece = self._piece(request)
        return HTMLResponse(columns_page(piece)) if piece.seen else _to(piece)

    async def take_columns(self, request: Request) -> Response:
        """Read the logs again with the columns that were chosen, or go on to the answer."""
        piece = self._piece(request)
        async with receive_form(request, self._limits) as sent:
            fields = dict(sent.fields)
        if piece.stands is not Stands.BUSY:
            chosen = {k: v for k, v in fields.items() if k.startswith(("column-", "unit-"))}
            piece.fields = {**piece.fields, **chosen}
            piece.channels = _channels(fields)
            self._room.start(piece, "answer" if "answer" in fields else "read")
        return _to(piece)

    async def remove(self, request: Request) -> Response:
        """Stop and forget a piece of work."""
        await asyncio.to_thread(self._room.remove, self._piece(request))
        return RedirectResponse("/", status_code=303)

    async def file(self, request: Request) -> Response:
        """Give a file of an answer, by a name that the answer itself has listed."""
        piece = self._piece(request)
        name = request.path_params["name"]
        if piece.stands is not Stands.ANSWERED or name not in piece.files:
            raise HTTPException(404)
        return FileResponse(piece.folder / OUT / name, filename=name)

    async def end(self, request: Request) -> Response:
        """End the server once this has been shown."""
        return HTMLResponse(render("ended"), background=BackgroundTask(self._end))

    def _piece(self, request: Request) -> Piece:
        piece = self._room.get(request.path_params["number"])
        if piece is None:
            raise HTTPException(404)
        return piece


def _kind(request: Request) -> Kind:
    kind = KINDS.get(request.path_params["kind"])
    if kind is None:
        raise HTTPException(404)
    return kind


def _form(
    kind: Kind,
    fields: dict[str, str],
    piece: Piece | None = None,
    error: InputError | None = None,
) -> Response:
    given: dict[str, tuple[Path, ...]] = {
        tray.key: piece.tray(tray.key) if piece else () for tray in kind.trays
    }
    page = render("form", kind=kind, fields=fields, piece=piece, error=error, given=given)
    return HTMLResponse(page, status_code=200 if error is None else 400)


def _longer(sent: Sent) -> dict[str, str]:
    return {**sent.fields, "rows": str(row_count(sent.fields) + MORE_ROWS)}


def _channels(fields: Mapping[str, str]) -> dict[str, str]:
    """Return the chosen columns; a unit that was typed goes in brackets behind the header."""
    chosen = {}
    for name in CANON:
        header = fields.get(f"column-{name}", "")
        unit = fields.get(f"unit-{name}", "").strip()
        if header:
            chosen[name] = f"{header} [{unit}]" if unit else header
    return chosen


def _to(piece: Piece) -> Response:
    return RedirectResponse(f"/work/{piece.number}", status_code=303)


async def _problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, InputError)  # registered for nothing else
    status = 413 if isinstance(error, TooLargeError) else 400
    return HTMLResponse(problem_page(error), status_code=status)


async def _no_page(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    return HTMLResponse(render("no_page"), status_code=status)


async def _fault(request: Request, error: Exception) -> Response:
    page = problem_page(own_fault("answer the browser", f"{type(error).__name__}: {error}"))
    return HTMLResponse(page, status_code=500)

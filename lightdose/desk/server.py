"""The desk's server: on this machine alone, on a free port, for as long as somebody looks."""

from __future__ import annotations

import asyncio
import logging
import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from lightdose.desk.answers import DeskAnswers
from lightdose.desk.guard import HEADERS, Guard, RefusedError, asked, told
from lightdose.desk.hold import Hold
from lightdose.desk.page import page
from lightdose.desk.shown import problem_json
from lightdose.errors import LightdoseError, Problem

IDLE_S: Final = 30 * 60.0
"""The desk ends so long after its last page was closed."""

LOOK_S: Final = 5.0
LARGEST_HEAD: Final = 32_768


def application(answers: DeskAnswers, port: int) -> Guard:
    """The application of a desk at a port, behind its guard."""

    async def show(_: Request) -> Response:
        html, policy = page()
        answers.seen_at = time.monotonic()
        return HTMLResponse(html, headers={**HEADERS, "Content-Security-Policy": policy})

    async def icon(_: Request) -> Response:
        return Response(status_code=204, headers=HEADERS)

    async def answer(request: Request) -> Response:
        try:
            question = await asked(request)
            found = await run_in_threadpool(answers.answer, request.path_params["name"], question)
            return told(found)
        except RefusedError as refusal:
            return PlainTextResponse(str(refusal), status_code=refusal.status, headers=HEADERS)
        except LightdoseError as trouble:
            return told({"problems": [problem_json(p) for p in trouble.problems[:40]]}, 422)
        except Exception as trouble:
            words = f"unexpected trouble, a fault of lightdose: {type(trouble).__name__}: {trouble}"
            return told({"problems": [problem_json(Problem(words[:500]))]}, 500)

    routes = [
        Route("/", show, methods=["GET"]),
        Route("/favicon.ico", icon, methods=["GET"]),
        Route("/ask/{name:str}", answer, methods=["POST"]),
    ]
    return Guard(Starlette(routes=routes), port)


class DeskServer:
    """A desk at 127.0.0.1 on a free port.

    Raises
    ------
    OutputError
        If another desk is open on the same folder.
    """

    def __init__(self, path: Path, *, idle_s: float = IDLE_S) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.bind(("127.0.0.1", 0))
        port = self._socket.getsockname()[1]
        try:
            self._hold = Hold(path.parent, f"http://127.0.0.1:{port}/")
        except LightdoseError:
            self._socket.close()
            raise
        self.answers = DeskAnswers(path)
        self.guard = application(self.answers, port)
        self._idle_s = idle_s
        # Its own words are for those who run servers: a request that is cut off by Ctrl-C is no news here.
        quiet = logging.getLogger("uvicorn")
        quiet.handlers, quiet.propagate = [logging.NullHandler()], False
        config = uvicorn.Config(
            self.guard,
            log_config=None,
            access_log=False,
            lifespan="off",
            ws="none",
            server_header=False,
            timeout_keep_alive=20,
            limit_concurrency=80,
            h11_max_incomplete_event_size=LARGEST_HEAD,
            http="h11",
            timeout_graceful_shutdown=2,
        )
        self._server = uvicorn.Server(config)

    @property
    def address(self) -> str:
        """What opens the page, its key included."""
        return self.guard.address

    @property
    def running(self) -> bool:
        """Whether requests are answered."""
        return self._server.started

    def run(self, *, opens: bool, ready: Callable[[], None] = lambda: None) -> None:
        """Serve until Ctrl-C, ``stop`` or nobody looks any more; ``opens`` the page in a browser."""
        self._socket.listen(64)
        ready()
        if opens:
            threading.Thread(target=webbrowser.open, args=(self.address,), daemon=True).start()
        try:
            with suppress(KeyboardInterrupt):
                asyncio.run(self._serve())
        finally:
            self.answers.close()
            self._hold.release()
            self._socket.close()

    async def _serve(self) -> None:
        watch = asyncio.create_task(self._watch())
        try:
            await self._server.serve(sockets=[self._socket])
        finally:
            watch.cancel()

    async def _watch(self) -> None:
        """End once nobody has looked for long."""
        while not self._server.should_exit:
            await asyncio.sleep(min(LOOK_S, self._idle_s / 4))
            if time.monotonic() - self.answers.seen_at > self._idle_s:
                self._server.should_exit = True

    def stop(self) -> None:
        """End soon; may be called by any thread."""
        self._server.should_exit = True

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
from typing import TYPE_CHECKING, Any, Final

import uvicorn
from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from lightdose.desk.guard import HEADERS, Guard, RefusedError, asked, told
from lightdose.desk.hold import Hold
from lightdose.desk.page import page
from lightdose.errors import LightdoseError

if TYPE_CHECKING:
    from lightdose.desk.answers import DeskAnswers

IDLE_S: Final = 30 * 60.0
"""The desk ends so long after its last page was closed."""

LOOK_S: Final = 5.0
LARGEST_HEAD: Final = 32_768


class Presence:
    """The answers of a desk, which are loaded once its page is on its way, and when somebody last looked."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.seen_at = time.monotonic()
        self._lock = threading.Lock()
        self._answers: DeskAnswers | None = None

    @property
    def answers(self) -> DeskAnswers:
        """They load most of lightdose, so that the first to ask waits for them."""
        with self._lock:
            if self._answers is None:
                from lightdose.desk.answers import DeskAnswers

                self._answers = DeskAnswers(self.path)
            return self._answers

    def answer(self, name: str, question: dict[str, Any]) -> tuple[dict[str, Any], int]:
        """The answer to a question with its status, problems included."""
        self.seen_at = time.monotonic()
        answers = self.answers
        try:
            return answers.answer(name, question), 200
        except LightdoseError as trouble:
            return answers.problems(trouble), 422
        except Exception as trouble:
            words = f"unexpected trouble, a fault of lightdose: {type(trouble).__name__}: {trouble}"
            return answers.problems(LightdoseError(words[:500])), 500

    def load(self) -> None:
        """Load them before they are asked."""
        self.seen_at = time.monotonic()
        _ = self.answers

    def close(self) -> None:
        """End what is only of this process."""
        with self._lock:
            if self._answers is not None:
                self._answers.close()


def application(presence: Presence, port: int) -> Guard:
    """The application of a desk at a port, behind its guard."""

    async def show(_: Request) -> Response:
        html, policy = page()
        headers = {**HEADERS, "Content-Security-Policy": policy}
        return HTMLResponse(html, headers=headers, background=BackgroundTask(presence.load))

    async def icon(_: Request) -> Response:
        return Response(status_code=204, headers=HEADERS)

    async def answer(request: Request) -> Response:
        try:
            question = await asked(request)
        except RefusedError as refusal:
            return PlainTextResponse(str(refusal), status_code=refusal.status, headers=HEADERS)
        return told(*await run_in_threadpool(presence.answer, request.path_params["name"], question))

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
        self._presence = Presence(path)
        self.guard = application(self._presence, port)
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
            self._presence.close()
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
            if time.monotonic() - self._presence.seen_at > self._idle_s:
                self._server.should_exit = True

    def stop(self) -> None:
        """End soon; may be called by any thread."""
        self._server.should_exit = True

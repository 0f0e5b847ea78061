"""A desk served in a thread of the tests, and plain requests to it."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from lightdose.desk.server import DeskServer


@contextmanager
def served(path: Path, idle_s: float = 1800.0) -> Iterator[DeskServer]:
    """A desk at its address, ended at the end."""
    server = DeskServer(path, idle_s=idle_s)
    thread = threading.Thread(target=server.run, kwargs={"opens": False}, daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + 30
        while not server.running:
            assert time.monotonic() < deadline, "the server does not start"
            time.sleep(0.01)
        yield server
    finally:
        server.stop()
        thread.join(20)
        assert not thread.is_alive()


class Client:
    """Requests of a page, or of somebody who plays one."""

    def __init__(self, server: DeskServer) -> None:
        self.guard = server.guard
        self.port = server.guard.port

    def headers(self, **changed: str | None) -> dict[str, str]:
        """What the page itself sends; None leaves a header out."""
        made = {
            "Host": self.guard.host,
            "Origin": self.guard.origin,
            "Cookie": f"{self.guard.cookie}={self.guard.token}",
            "Content-Type": "application/json",
        }
        named = {key.replace("_", "-"): value for key, value in changed.items()}
        return {k: v for k, v in (made | named).items() if v is not None}  # type: ignore[operator]

    def send(
        self, method: str, path: str, body: bytes = b"", **changed: str | None
    ) -> tuple[int, bytes, Any]:
        """Status, body and headers of an answer."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in self.headers(**changed).items():
                connection.putheader(name, value)
            if method == "POST" and "Content_Length" not in changed:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders()
            connection.send(body)
            reply = connection.getresponse()
            return reply.status, reply.read(), reply.headers
        finally:
            connection.close()

    def ask(self, what: str, /, **question: Any) -> dict[str, Any]:
        """What the desk answers; AssertionError where it refuses."""
        status, body, _ = self.send("POST", f"/ask/{what}", json.dumps(question).encode())
        assert status == 200, body
        found: dict[str, Any] = json.loads(body)
        return found

"""Who may speak with the desk: this machine's own page, with its key, in small JSON.

Every request must name exactly our address as its host; what changes or tells anything must come from our own
page (Origin), with the key that stood in the address that was opened, as a cookie that no other site sends.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import secrets
from collections.abc import Mapping
from typing import Any, Final

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

MOST_BYTES: Final = 1_000_000
BODY_S: Final = 10.0
"""A body is here within so many seconds, or the request is dropped."""

LONGEST_WHOLE: Final = 15
"""Digits of a whole number that the page sends. Our choice."""
DEEPEST: Final = 30
KEY: Final = "key"

HEADERS: Final = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}


class Guard:
    """Refuses every request that is not of the desk's own page; wraps the whole application."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.port = port
        self.token = secrets.token_urlsafe(32)
        self.host = f"127.0.0.1:{port}"
        self.origin = f"http://{self.host}"
        self.cookie = f"lightdose-desk-{port}"

    @property
    def address(self) -> str:
        """What is opened in the browser: the key in it becomes a cookie."""
        return f"{self.origin}/?{KEY}={self.token}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with a refusal."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
            return
        request = Request(scope, receive)
        refusal = self._refusal(request)
        if refusal is None and self._opens(request):
            refusal = RedirectResponse("/", status_code=303)
            value = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
            refusal.headers["Set-Cookie"] = value
        if refusal is None and not self._known(request):
            words = "This desk opens by the address that lightdose desk printed."
            refusal = PlainTextResponse(words, status_code=403)
        if refusal is not None:
            refusal.headers.update(HEADERS)
            await refusal(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _refusal(self, request: Request) -> Response | None:
        """Why a request is none of ours, before its key is looked at."""
        headers = [(name, value) for name, value in request.scope["headers"]]
        hosts = [value for name, value in headers if name == b"host"]
        if hosts != [self.host.encode()]:
            return PlainTextResponse("This is not the address of a desk.", status_code=421)
        if request.method not in ("GET", "HEAD", "POST"):
            return PlainTextResponse("The desk takes GET and POST.", status_code=405)
        origins = [value for name, value in headers if name == b"origin"]
        own = origins == [self.origin.encode()]
        if origins and not own:
            return PlainTextResponse("The desk speaks with its own page only.", status_code=403)
        site = request.headers.get("sec-fetch-site")
        if site not in (None, "same-origin", "none"):
            return PlainTextResponse("The desk speaks with its own page only.", status_code=403)
        if request.method == "POST" and not own:
            return PlainTextResponse("The desk speaks with its own page only.", status_code=403)
        return None

    def _opens(self, request: Request) -> bool:
        given = request.query_params.get(KEY, "")
        return request.method == "GET" and request.url.path == "/" and self._same(given)

    def _known(self, request: Request) -> bool:
        return self._same(request.cookies.get(self.cookie, ""))

    def _same(self, given: str) -> bool:
        return hmac.compare_digest(given.encode("utf-8", "replace"), self.token.encode())


class RefusedError(Exception):
    """A body that is none of ours."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


async def asked(request: Request) -> dict[str, Any]:
    """The JSON object of a request.

    Raises
    ------
    RefusedError
        If its body is no JSON object, larger than allowed, or does not come in time.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise RefusedError(415, "The desk takes application/json.")
    length = request.headers.get("content-length", "")
    if length.isascii() and length.isdigit() and len(length) < 20 and int(length) > MOST_BYTES:
        raise RefusedError(413, "A request has up to 1 MB.")
    try:
        async with asyncio.timeout(BODY_S):
            body = await _body(request)
    except TimeoutError:
        raise RefusedError(408, "The request did not come to its end.") from None
    except ClientDisconnect:
        raise RefusedError(400, "The request broke off.") from None
    try:
        found = json.loads(body, parse_constant=_no_number, parse_float=_finite, parse_int=_whole)
        json.dumps(found, ensure_ascii=False).encode("utf-8")  # half a letter is none
    except (ValueError, RecursionError):
        raise RefusedError(400, "The request is no JSON.") from None
    if not isinstance(found, dict) or _depth(found) > DEEPEST:
        raise RefusedError(400, "The request is no JSON object of ours.")
    return found


async def _body(request: Request) -> bytes:
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > MOST_BYTES:
            raise RefusedError(413, "A request has up to 1 MB.")
        parts.append(part)
    return b"".join(parts)


def _no_number(word: str) -> float:
    raise ValueError(word)


def _finite(word: str) -> float:
    number = float(word)
    if number - number != 0:
        raise ValueError(word)
    return number


def _whole(word: str) -> int:
    if len(word) > LONGEST_WHOLE:
        raise ValueError(word)
    return int(word)


def _depth(value: object) -> int:
    deepest, waiting = 0, [(value, 1)]
    while waiting:
        one, depth = waiting.pop()
        deepest = max(deepest, depth)
        inner = one.values() if isinstance(one, dict) else one if isinstance(one, list) else ()
        if depth <= DEEPEST:
            waiting += [(v, depth + 1) for v in inner]
    return deepest


def told(content: Mapping[str, Any], status: int = 200) -> Response:
    """A JSON answer."""
    return JSONResponse(dict(content), status_code=status, headers=HEADERS)

"""The server of the desk, attacked: foreign pages, forged hosts, keys, paths, bodies, slow clients."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk.desk_tanks import copied
from desk.served import Client, served

from lightdose.desk import guard as guard_module
from lightdose.desk.server import DeskServer
from lightdose.errors import OutputError


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DeskServer]:
    """One desk for all that changes nothing."""
    with served(copied(tmp_path_factory.mktemp("desk"), "first-tank")) as server:
        yield server


@pytest.mark.identity
def test_desk_listens_on_this_machine_alone(desk: DeskServer) -> None:
    """Its socket is bound to 127.0.0.1; no other address of the machine answers."""
    port = desk.guard.port
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", port), timeout=2)
    assert desk.address.startswith(f"http://127.0.0.1:{port}/?key=")
    assert len(desk.guard.token) >= 32


@pytest.mark.identity
def test_address_becomes_a_strict_cookie(desk: DeskServer) -> None:
    """The key leaves the address at once, into a cookie that scripts and other sites cannot have."""
    client = Client(desk)
    bare = {"Cookie": None, "Origin": None, "Content_Type": None}
    status, _, headers = client.send("GET", f"/?key={desk.guard.token}", **bare)
    assert (status, headers["Location"]) == (303, "/")
    cookie = headers["Set-Cookie"]
    assert cookie.startswith(f"{desk.guard.cookie}={desk.guard.token};")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
    assert client.send("GET", "/", **(bare | {"Cookie": cookie.split(";")[0]}))[0] == 200


FOREIGN: list[tuple[str, dict[str, str | None], int]] = [
    ("no key", {"Cookie": None}, 403),
    ("another key", {"Cookie": "lightdose-desk=x"}, 403),
    ("foreign host", {"Host": "evil.example"}, 421),
    ("host without port", {"Host": "127.0.0.1"}, 421),
    ("host by its name", {"Host": "localhost"}, 421),
    ("foreign origin", {"Origin": "http://evil.example"}, 403),
    ("origin of a file", {"Origin": "null"}, 403),
    ("origin of another port", {"Origin": "http://127.0.0.1:1"}, 403),
    ("no origin", {"Origin": None}, 403),
    ("cross-site by its browser", {"Sec_Fetch_Site": "cross-site"}, 403),
    ("same site, other origin", {"Sec_Fetch_Site": "same-site"}, 403),
    ("a form", {"Content_Type": "application/x-www-form-urlencoded"}, 415),
    ("plain text", {"Content_Type": "text/plain"}, 415),
    ("no type", {"Content_Type": None}, 415),
]


@pytest.mark.identity
@pytest.mark.parametrize(("who", "headers", "status"), FOREIGN, ids=[f[0] for f in FOREIGN])
def test_request_that_is_not_of_the_page_is_refused(
    desk: DeskServer, who: str, headers: dict[str, str | None], status: int
) -> None:
    """Whatever lacks host, origin, key or type of the page itself gets no word of the tank."""
    got, body, _ = Client(desk).send("POST", "/ask/state", b"{}", **headers)
    assert got == status, who
    assert b"Harbour" not in body


@pytest.mark.identity
@pytest.mark.parametrize("name", ["localhost", "127.0.0.2", "[::1]", "127.0.0.1.evil.example", "0x7f000001"])
def test_other_names_of_this_machine_are_refused(desk: DeskServer, name: str) -> None:
    """A page of a name that was bent to this machine does not get through."""
    host = f"{name}:{desk.guard.port}"
    status, _, _ = Client(desk).send("POST", "/ask/state", b"{}", Host=host, Origin=f"http://{host}")
    assert status == 421


@pytest.mark.identity
def test_page_itself_needs_the_key(desk: DeskServer) -> None:
    """Without the cookie the address shows a sentence and nothing of the tank."""
    client = Client(desk)
    for path in ("/", "/?key=", "/?key=x", f"/?key={desk.guard.token[:-1]}"):
        status, body, headers = client.send("GET", path, Cookie=None, Origin=None)
        assert status == 403
        assert b"lightdose desk printed" in body
        assert "Set-Cookie" not in headers


@pytest.mark.identity
@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd",
        "/setup.toml",
        "/ask/../setup.toml",
        "/ask/%2e%2e%2fsetup.toml",
        "/static/desk.js",
        "//evil.example/",
        "/ask/",
        "/ask/__class__",
        "/ask/close",
    ],
)
def test_no_path_leads_to_a_file(desk: DeskServer, path: str) -> None:
    """There are a page and questions by name, and nothing else: no file is served."""
    client = Client(desk)
    assert client.send("GET", path)[0] in (403, 404, 405)
    status, body, _ = client.send("POST", path, b"{}")
    assert status in (403, 404, 405, 422)
    assert b"root:" not in body
    assert b"lightdose-setup" not in body


@pytest.mark.identity
@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "CONNECT"])
def test_other_methods_are_refused(desk: DeskServer, method: str) -> None:
    """The desk takes GET and POST; no preflight of a foreign page is ever answered with a yes."""
    status, _, headers = Client(desk).send(method, "/ask/state")
    assert status in (400, 405, 421)
    assert not [name for name in headers if name.lower().startswith("access-control")]


MALFORMED = [
    b"",
    b"{",
    b"[]",
    b'"x"',
    b"null",
    b"\xff\xfe",
    b'{"a": NaN}',
    b'{"a": Infinity}',
    b"[" * 100_000,
    b'{"a":' * 50 + b"1" + b"}" * 50,
    b'{"a": ' + b"9" * 100_000 + b"}",
]


@pytest.mark.identity
@pytest.mark.parametrize("body", MALFORMED, ids=range(len(MALFORMED)))
def test_malformed_body_is_refused_in_words(desk: DeskServer, body: bytes) -> None:
    """What is no JSON object of ours ends in a sentence, quickly, and the desk goes on."""
    client = Client(desk)
    start = time.monotonic()
    status, words, _ = client.send("POST", "/ask/state", body)
    assert status == 400
    assert b"Traceback" not in words
    assert time.monotonic() - start < 5
    assert client.ask("alive")["version"] >= 1


@pytest.mark.identity
def test_oversized_body_is_refused(desk: DeskServer) -> None:
    """One byte more than 1 MB is too much, told by its length or sent in pieces."""
    client = Client(desk)
    large = b'{"a": "' + b"x" * (guard_module.MOST_BYTES - 8) + b'"}'
    assert len(large) == guard_module.MOST_BYTES + 1
    assert client.send("POST", "/ask/alive", large)[0] == 413
    assert client.send("POST", "/ask/alive", large.replace(b"x", b"", 1))[0] == 200
    with socket.create_connection(("127.0.0.1", client.port), timeout=20) as raw:
        head = "".join(f"{k}: {v}\r\n" for k, v in client.headers(Transfer_Encoding="chunked").items())
        raw.sendall(f"POST /ask/alive HTTP/1.1\r\n{head}\r\n".encode())
        piece = b"8000\r\n" + b"x" * 0x8000 + b"\r\n"
        try:
            for _ in range(60):
                raw.sendall(piece)
        except OSError:
            pass
        assert b"413" in raw.recv(200)


@pytest.mark.identity
def test_endless_headers_are_refused(desk: DeskServer) -> None:
    """A request whose head never ends is cut off, and others are answered meanwhile."""
    client = Client(desk)
    with socket.create_connection(("127.0.0.1", client.port), timeout=20) as raw:
        raw.sendall(b"GET / HTTP/1.1\r\n")
        try:
            for n in range(4000):
                raw.sendall(f"X-{n}: {'y' * 60}\r\n".encode())
            answer = raw.recv(200)
        except OSError:
            answer = b""
        assert b" 200 " not in answer
    assert client.ask("alive")["version"] >= 1


@pytest.mark.identity
def test_slow_client_is_dropped_and_holds_nobody_up(
    desk: DeskServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A body that does not come to its end is refused in time; others are answered meanwhile."""
    monkeypatch.setattr(guard_module, "BODY_S", 0.4)
    client = Client(desk)
    slow = [socket.create_connection(("127.0.0.1", client.port), timeout=20) for _ in range(20)]
    head = "".join(f"{k}: {v}\r\n" for k, v in client.headers(Content_Length="100").items())
    for raw in slow:
        raw.sendall(f"POST /ask/state HTTP/1.1\r\n{head}\r\n{{".encode())
    start = time.monotonic()
    assert client.ask("alive")["version"] >= 1
    assert time.monotonic() - start < 5
    for raw in slow:
        assert b"408" in raw.recv(200)
        raw.close()


@pytest.mark.identity
def test_policy_names_style_and_script_by_their_hashes(desk: DeskServer) -> None:
    """Nothing but the page's own style and script may run, and it may speak with the desk alone."""
    status, body, headers = Client(desk).send("GET", "/", Origin=None)
    assert status == 200
    html, policy = body.decode(), headers["Content-Security-Policy"]
    for tag in ("style", "script"):
        (inner,) = re.findall(rf"<{tag}(?: type=\"module\")?>(.*?)</{tag}>", html, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    for rule in ("default-src 'none'", "connect-src 'self'", "frame-ancestors 'none'", "form-action 'none'"):
        assert rule in policy
    assert headers["Cache-Control"] == "no-store"
    assert headers["X-Frame-Options"] == "DENY"
    assert not re.findall(r"(?:src|href)=\"(?!#|data:,)", html)


@pytest.mark.identity
def test_second_desk_on_a_folder_is_told_of_the_first(tmp_path: Path) -> None:
    """While one desk is open, another on its folder ends with its address; afterwards it may open."""
    path = copied(tmp_path)
    with served(path) as first, pytest.raises(OutputError, match=f"127.0.0.1:{first.guard.port}"):
        DeskServer(path)
    with served(path) as second:
        assert second.guard.port


@pytest.mark.identity
def test_desk_ends_once_nobody_looks(tmp_path: Path) -> None:
    """It ends by itself so long after the last request, and not before."""
    server = DeskServer(copied(tmp_path), idle_s=1.0)
    thread = threading.Thread(target=server.run, kwargs={"opens": False}, daemon=True)
    thread.start()
    client = Client(server)
    for _ in range(8):
        time.sleep(0.25)
        client.ask("alive")
    assert thread.is_alive()
    thread.join(15)
    assert not thread.is_alive()


@pytest.mark.identity
def test_many_pages_at_once_leave_the_files_whole(tmp_path: Path) -> None:
    """Changes that come at the same time are made one after the other, and all can be taken back."""
    path = copied(tmp_path)
    before = path.read_bytes()
    with served(path) as server:
        names = [c["name"] for c in Client(server).ask("state")["corals"]][:12]
        failed: list[Any] = []

        def move(name: str) -> None:
            try:
                client = Client(server)
                client.ask(
                    "do",
                    change={"do": "set", "table": "coral", "name": name, "key": "keep_apart", "text": "3"},
                )
                client.ask("sure", version=1)
            except BaseException as trouble:
                failed.append(trouble)

        threads = [threading.Thread(target=move, args=(name,)) for name in names]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not failed
        client = Client(server)
        (file,) = client.ask("pending")["files"]
        assert (file["added"], file["removed"]) == (12, 0)
        for _ in names:
            client.ask("undo")
        assert client.ask("pending")["files"] == []
    assert path.read_bytes() == before


@pytest.mark.identity
def test_problem_of_a_question_is_told_in_words(desk: DeskServer) -> None:
    """A question that cannot be answered gives problems with their parts, and no trace of ours."""
    status, body, _ = Client(desk).send("POST", "/ask/form", json.dumps({"table": "nonsense"}).encode())
    assert status == 422
    (problem,) = json.loads(body)["problems"]
    assert problem["found"]
    assert b"Traceback" not in body

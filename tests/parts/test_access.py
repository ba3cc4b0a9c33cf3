"""What strangers can take of the display, and who is let in: over real connections.

What must hold is the customer's list: the issue "Nothing said is lost", points 12 and 13. The
status codes: RFC 9110 (403, 408, 413), RFC 6585 (429, 431).
"""

from __future__ import annotations

import json
import secrets
import socket
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from recorder import Recorded, recording
from starlette.exceptions import HTTPException
from stories import Story, shipped
from strangers import ELSEWHERE, LOADS, strangers
from theatre import PATIENCE_S

from voicecheck.display import connections, limits
from voicecheck.display.access import problem
from voicecheck.display.addresses import urls
from voicecheck.display.entries import Entries
from voicecheck.display.keys import keys
from voicecheck.display.server import Display, DisplayError
from voicecheck.display.view import view
from voicecheck.live.addresses import told

TOKEN = "an-invented-token-0123"  # noqa: S105
AWKWARD = "a+b/c&d#e%f=g?h;i~0"
PHRASE = "checklist table tilted head up"


@dataclass(frozen=True, kw_only=True)
class Served:
    display: Display
    token: str
    recorded: Recorded

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.display.port}"

    def http(self, come_from: str = "127.0.0.1") -> httpx.Client:
        """A client of its own: no connection of an earlier one helps it in."""
        sent_from = httpx.HTTPTransport(local_address=come_from)
        return httpx.Client(base_url=self.url, transport=sent_from, timeout=PATIENCE_S)

    def enter(self, come_from: str = "127.0.0.1", token: str = "") -> httpx.Response:
        bearer = {"Authorization": f"Bearer {token or self.token}", "Origin": self.url}
        with self.http(come_from) as http:
            return http.post("/entry", headers=bearer, content=json.dumps({"phrase": PHRASE}))

    def get(self, path: str, **headers: str) -> httpx.Response:
        with self.http() as http:
            return http.get(path, headers=headers)

    def plain(self, sent: bytes) -> socket.socket:
        one = socket.create_connection(("127.0.0.1", self.display.port), timeout=PATIENCE_S)
        one.sendall(sent)
        return one

    @contextmanager
    def reader(self, query: str = "") -> Iterator[Callable[[], str]]:
        """An open event stream; each call gives its next line."""
        with self.http() as http, http.stream("GET", f"/events{query}") as answer:
            assert answer.status_code == 200
            lines = answer.iter_lines()
            yield lambda: next(line for line in lines if line)


@contextmanager
def serving(token: str = TOKEN, host: str = "127.0.0.1") -> Iterator[Served]:
    """A display, and what stands in for the live loop."""
    entries = Entries()
    display = Display(host=host, port=0, token=token, keys=keys(shipped()), entries=entries)
    display.start()
    with closing(display), recording(display, entries) as recorded:
        yield Served(display=display, token=token, recorded=recorded)


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    with serving() as everything:
        yield everything


def until(true: Callable[[], bool]) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < until_s
        time.sleep(0.02)


def ends(one: socket.socket) -> bytes:
    """All that is answered until the connection is closed."""
    got = b""
    with suppress(ConnectionError):
        while part := one.recv(65536):
            got += part
    one.close()
    return got


# --------------------------------------------------------------------------------- under each load


ANSWERED = {
    "endless body": "403",
    "endless entry": "413",
    "pages": "200",
    "readers": "503",
    "entries": "429",
    "wrong tokens": "403",
}
"""What the strangers must have been told, so that the load is one; the others are told nothing."""


@pytest.mark.parametrize("load", LOADS)
def test_strangers_shut_out_neither_entry_nor_pages_nor_a_reader_who_is_there(load: str) -> None:
    with serving() as served, served.reader() as heard:
        heard()
        with strangers(load, served.display.port, TOKEN) as answers:
            time.sleep(1.5)
            for _ in range(5):
                assert served.enter().status_code == 204
                assert served.get("/").status_code == 200
                assert served.get(f"/entry?token={TOKEN}").status_code == 200
            with served.reader(f"?token={TOKEN}") as entering:
                assert "retry" in entering()
            assert [heard().startswith(("event", "id", "data")) for _ in range(12)] == [True] * 12
        assert served.display.trouble == ""
    wanted = ANSWERED.get(load)
    assert wanted is None or answers[wanted] > 0, answers


# ---------------------------------------------------------------------------------- time and size


def test_a_request_that_is_not_finished_is_ended(served: Served) -> None:
    begun = (b"", b"G", b"GET / HTTP/1.1\r\nHost: localhost\r\nX: ")
    nothing, *others = [ends(one) for one in [served.plain(each) for each in begun]]
    assert nothing == b""
    for answer in others:
        assert b" 408 " in answer
        assert b"took too long" in answer


def test_who_has_no_token_is_answered_before_the_body(served: Served) -> None:
    one = served.plain(b"POST /entry HTTP/1.1\r\nHost: localhost\r\nContent-Length: 50\r\n\r\n")
    assert b" 403 " in ends(one)


def test_a_body_that_trickles_is_ended_though_the_token_is_right(served: Served) -> None:
    known = served.recorded.qsize()
    head = (
        f"POST /entry HTTP/1.1\r\nHost: 127.0.0.1:{served.display.port}\r\nOrigin: {served.url}\r\n"
        f"Authorization: Bearer {TOKEN}\r\nContent-Length: 500\r\n\r\n"
    )
    one = served.plain(head.encode())
    with suppress(ConnectionError):
        until_s = time.monotonic() + connections.REQUEST_S + PATIENCE_S
        while time.monotonic() < until_s:
            one.sendall(b" ")
            time.sleep(0.2)
        raise AssertionError("it goes on")
    assert b" 408 " in ends(one)
    assert served.recorded.qsize() == known


def test_an_endless_body_is_read_no_further_than_its_answer(served: Served) -> None:
    for bearer, status in (("", b" 403 "), (f"Authorization: Bearer {TOKEN}\r\n", b" 413 ")):
        head = (
            f"POST /entry HTTP/1.1\r\nHost: 127.0.0.1:{served.display.port}\r\n"
            f"Origin: {served.url}\r\n{bearer}Transfer-Encoding: chunked\r\n\r\n"
        )
        one, sent = served.plain(head.encode()), 0
        with suppress(ConnectionError):
            while sent < MOST_ON_THE_WAY:
                one.sendall(b"10000\r\n" + bytes(65536) + b"\r\n")
                sent += 65536
        assert sent < MOST_ON_THE_WAY
        assert status in ends(one)


MOST_ON_THE_WAY = 64 * 2**20
"""Bytes; far more than tcp_rmem and tcp_wmem let wait in the kernel, tcp(7): 4 to 6 MiB each."""


@pytest.mark.parametrize(
    ("request_bytes", "status"),
    [
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"x" * 20_000, b" 431 "),
        (b"GET /" + b"x" * 20_000, b" 431 "),
        (b"\x16\x03\x01\x02 no HTTP\r\n\r\n", b" 400 "),
    ],
    ids=["header", "target", "TLS"],
)
def test_a_header_that_is_too_large_or_none_at_all_is_refused(
    served: Served, request_bytes: bytes, status: bytes
) -> None:
    assert status in ends(served.plain(request_bytes))


def test_a_reader_who_takes_nothing_is_let_go() -> None:
    """Or it would hold a place for ever: the next one sees that it is free again."""
    with serving() as served, ExitStack() as stuck:
        for _ in range(limits.MOST_READERS_HERE):
            one = socket.socket()
            one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            one.connect(("127.0.0.1", served.display.port))
            one.sendall(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
            stuck.callback(one.close)
        until(lambda: served_stream(served).status_code == 503)
        story = Story()
        large = view(story.case, story.records[-1], listening=True)

        def freed() -> bool:
            served.display.show(replace(large, title="x" * 500_000))  # fills the buffers on the way
            return served_stream(served).status_code == 200

        until(freed)


def served_stream(served: Served) -> httpx.Response:
    with served.http() as http, http.stream("GET", "/events") as answer:
        return answer


# -------------------------------------------------------------------------------- number and pace


def test_who_says_nothing_makes_room_for_who_comes(served: Served) -> None:
    def closes_the_first_alone() -> bool:
        """The second's time must not be up: a busy machine may need more than one try."""
        with ExitStack() as idle:
            waiting = []
            for number in range(connections.MOST_WAITING_HERE + 1):
                if number % CONNECTING == 0:
                    served.get("/")  # all that came before are taken in
                waiting.append(idle.enter_context(served.plain(b"")))
            assert ends(waiting[0]) == b"", "the one that has waited longest"
            waiting[1].setblocking(False)
            try:
                waiting[1].recv(1)
            except BlockingIOError:
                return served.enter().status_code == 204
            return False

    until(closes_the_first_alone)


CONNECTING = 16
"""Fewer than the kernel keeps for the server: of the others, each would come a second later."""


def test_readers_are_counted_and_cannot_take_the_places_of_those_who_enter() -> None:
    with serving() as served, ExitStack() as open_streams:
        for _ in range(limits.MOST_READERS_HERE):
            open_streams.enter_context(served.reader())()
        refused = served_stream(served)
        assert refused.status_code == 503
        for _ in range(limits.MOST_ENTERING):
            open_streams.enter_context(served.reader(f"?token={TOKEN}"))()
        with served.http(ELSEWHERE) as http, http.stream("GET", "/events") as answer:
            assert answer.status_code == 200, "another address has places of its own"
        open_streams.close()
        until(lambda: served_stream(served).status_code == 200)


def test_too_many_entries_are_told_when_to_come_again_and_others_enter_meanwhile() -> None:
    intake = limits.Intake()
    for _ in range(limits.ENTRIES_AT_ONCE):
        intake._keep_pace("192.0.2.1", 100.0)
    with pytest.raises(HTTPException, match="Too many entries") as refused:
        intake._keep_pace("192.0.2.1", 100.0)
    assert refused.value.status_code == 429
    assert refused.value.headers is not None
    intake._keep_pace("192.0.2.2", 100.0)
    intake._keep_pace("192.0.2.1", 100.0 + int(refused.value.headers["Retry-After"]))


def test_only_a_few_entries_of_one_address_are_on_their_way_at_one_time() -> None:
    places = limits.Places(8, 3, "invented")
    with ExitStack() as held:
        for _ in range(3):
            held.enter_context(places.place("192.0.2.1"))
        with pytest.raises(HTTPException, match="invented"), places.place("192.0.2.1"):
            pass
        with places.place("192.0.2.2"):
            pass
    with places.place("192.0.2.1"):
        pass
    assert not places._taken


def test_the_more_wrong_tokens_the_later_the_answer_until_they_are_forgiven() -> None:
    tries = limits.Tries()
    waits_s = [tries._wait_s("192.0.2.1", 100.0) for _ in range(9)]
    assert waits_s == sorted(waits_s)
    assert (waits_s[0], waits_s[-1]) == (0, limits.SLOWEST_S)
    assert tries._wait_s("192.0.2.2", 100.0) == 0
    assert tries._wait_s("192.0.2.1", 101.0 + limits.FORGIVEN_S) == 0


def test_the_right_token_is_answered_while_wrong_ones_wait() -> None:
    with serving() as served:
        guess = (
            f"GET /keys HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {secrets.token_hex(8)}"
            "\r\nConnection: close\r\n\r\n"
        ).encode()

        def overtakes() -> bool:
            """On a busy machine even two seconds may be over: then once more."""
            wrong = served.plain(guess)
            assert served.get("/keys", Authorization=f"Bearer {TOKEN}").status_code == 200
            assert served.enter().status_code == 204
            wrong.setblocking(False)
            try:
                wrong.recv(1)
            except BlockingIOError:
                wrong.settimeout(PATIENCE_S)
                return b" 403 " in ends(wrong)
            wrong.close()
            return False

        until(overtakes)


def test_addresses_are_forgotten_before_they_fill_the_memory() -> None:
    tries = limits.Tries()
    for number in range(5000):
        tries._wait_s(f"2001:db8::{number:x}", 0.0)
    assert len(tries._wrong._known) == len(tries._last_s._known) < 5000


# ------------------------------------------------------------------------------------ the token


@pytest.mark.parametrize(
    ("token", "why"),
    [
        ("", "too short"),
        ("short", "too short"),
        ("a" * 16, "repeats itself"),
        ("ab" * 20, "repeats itself"),
        ("1234512345123451", "repeats itself"),
        ("an invented token", "a space"),
        ("ein-erfundenes-tökén", "beyond ASCII"),
        ("an-invented-token\n", "a space"),
        (TOKEN, ""),
        (AWKWARD, ""),
        ("0123456789abcdef", ""),
    ],
)
def test_a_token_that_could_be_guessed_or_not_be_sent_is_refused(token: str, why: str) -> None:
    assert (why in problem(token)) if why else not problem(token)
    if why:
        with pytest.raises(DisplayError, match=why):
            Display(token=token, keys=(), entries=Entries())


def test_an_awkward_token_works_from_the_printed_address_to_the_entry() -> None:
    with serving(AWKWARD) as served:
        address = served.display.entry_addresses[0]
        assert parse_qs(urlsplit(address).query) == {"token": [AWKWARD]}
        assert not urlsplit(address).fragment
        assert httpx.get(address).status_code == 200
        assert served.enter().status_code == 204
        with served.reader(f"?{urlsplit(address).query}") as heard:
            assert "retry" in heard()


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])  # noqa: S104
def test_a_wildcard_is_no_address_for_others(host: str) -> None:
    """RFC 1122, 3.2.1.3, and RFC 4291, 2.5.2: the unspecified address is never a destination."""
    for url in urls(host, 8023, ""):
        name = urlsplit(url).hostname
        assert name not in (None, "127.0.0.1", "::1")
        if name != host:  # a machine without a network has no other
            with socket.create_server((name, 0), family=family(host)):
                pass


def family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def test_the_address_that_is_told_is_answered() -> None:
    with serving(host="0.0.0.0") as served:  # noqa: S104
        for address in (*served.display.addresses, *served.display.entry_addresses):
            assert httpx.get(address).status_code == 200


def test_without_a_terminal_no_token_is_printed_but_kept_in_a_private_file(tmp_path: Path) -> None:
    said: list[str] = []
    log = tmp_path / "invented.log"
    (tmp_path / "elsewhere").write_text("untouched")
    log.with_suffix(".addresses").symlink_to(tmp_path / "elsewhere")
    with serving() as served, told(served.display, log, said.append):
        assert said[0] == f"Prompt display: {served.url}/"
        assert not any(TOKEN in line for line in said)
        path = next(
            Path(word.rstrip(",")) for line in said for word in line.split() if "/inv" in word
        )
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert served.display.entry_addresses[0] in path.read_text()
    assert not path.exists()
    assert (tmp_path / "elsewhere").read_text() == "untouched"


def test_a_file_that_cannot_be_written_is_told_and_the_case_goes_on(tmp_path: Path) -> None:
    said: list[str] = []
    with serving() as served, told(served.display, tmp_path / "none" / "invented.log", said.append):
        assert served.enter().status_code == 204
    assert "cannot be kept" in said[-1]
    assert TOKEN not in "".join(said)


def test_on_a_terminal_the_addresses_are_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    with serving() as served, told(served.display, tmp_path / "invented.log", said.append):
        assert said == [
            f"Prompt display: {served.url}/",
            f"Entry by hand:  {served.url}/entry?token={TOKEN}",
        ]
    assert not list(tmp_path.iterdir())

"""The way in as the desk uses it: opened, renewed and shut from another thread, refused in a sentence."""

import asyncio
import http.client
import socket
import threading
import urllib.error
import urllib.request

import pytest

from match.errors import NetworkError
from match.network import listener
from match.network.asked import ADDRESS, CERTIFICATE, KEY, OPEN, Asked, asked
from match.network.phones import Phones

HERE = "127.0.0.1"


async def app(scope, receive, send):
    """Answer, but for one path, of which the answer never ends."""
    held = scope["path"] == "/held"
    length = b"4" if held else b"2"
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", length)]})
    await send({"type": "http.response.body", "body": b"ok", "more_body": held})
    while held and (await receive())["type"] != "http.disconnect":
        pass


@pytest.fixture
def phones():
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    made = Phones()
    made.attach(app, loop, 1000)
    yield made
    made.shut()
    loop.call_soon_threadsafe(loop.stop)
    thread.join()
    loop.close()


def free_port():
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        return probe.getsockname()[1]


def status(url, **headers):
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=60) as answer:
            return answer.status
    except urllib.error.HTTPError as refused:
        return refused.code


def test_it_is_shut_until_it_is_opened_and_again_after(phones):
    port = free_port()
    assert phones.can_open
    assert (phones.opened, phones.shown()) == (None, None)
    phones.open(Asked(address=HERE, port=port))
    assert phones.opened.url == f"http://{HERE}:{port}"
    assert not phones.opened.encrypted
    assert status(phones.opened.url) == 401
    first = phones.shown()
    phones.renew()
    assert phones.shown().code != first.code
    phones.open(Asked(address=HERE, port=port))
    assert phones.shown().ticket != first.ticket
    phones.shut()
    assert (phones.opened, phones.shown()) == (None, None)
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((HERE, port), timeout=60)


def test_a_renewal_cuts_an_open_connection_at_once(phones, monkeypatch):
    """Not only when the connections are next looked through, which is put off here for ever."""
    monkeypatch.setattr(listener, "SWEEP_SECONDS", 1e6)
    port = free_port()
    phones.open(Asked(address=HERE, port=port))
    link = http.client.HTTPConnection(HERE, port, timeout=60)
    link.request("POST", "/enter", f"ticket={phones.shown().ticket}")
    cookie = link.getresponse().headers["set-cookie"].partition(";")[0]
    link = http.client.HTTPConnection(HERE, port, timeout=60)
    link.request("GET", "/held", headers={"Cookie": cookie})
    held = link.getresponse()
    assert held.read(2) == b"ok"
    phones.renew()
    with pytest.raises((http.client.IncompleteRead, ConnectionResetError)):
        held.read()
    assert status(f"http://{HERE}:{port}/", Cookie=cookie) == 401


def test_a_name_stands_in_the_address_and_is_answered(phones):
    phones.open(Asked(address=HERE, port=free_port(), name="desk.invalid"))
    assert phones.opened.url.startswith("http://desk.invalid:")
    port = phones.opened.url.rpartition(":")[2]
    assert status(f"http://{HERE}:{port}/", Host=f"desk.invalid:{port}") == 401
    assert status(f"http://{HERE}:{port}/", Host=f"other.invalid:{port}") == 421


def test_what_cannot_be_opened_is_said_and_kept_for_the_screen(phones):
    with socket.socket() as taken:
        taken.bind((HERE, 0))
        taken.listen()
        with pytest.raises(NetworkError, match="nothing can listen at"):
            phones.open(Asked(address=HERE, port=taken.getsockname()[1]))
    assert phones.refusal.startswith("nothing can listen at")
    assert phones.opened is None
    phones.open(Asked(address=HERE, port=free_port()))
    assert phones.refusal == ""


def test_two_screens_that_open_it_at_once_leave_one_way_in_that_can_be_shut(phones, monkeypatch):
    begun = listener.Listener.open

    async def slow(self, *given):
        await asyncio.sleep(0)  # the other screen's turn
        return await begun(self, *given)

    monkeypatch.setattr(listener.Listener, "open", slow)
    ports = free_port(), free_port()
    _, loop, _ = phones._needed()

    async def both():
        await asyncio.gather(*(phones.open_here(Asked(address=HERE, port=port)) for port in ports))

    asyncio.run_coroutine_threadsafe(both(), loop).result(60)
    assert phones.opened.url == f"http://{HERE}:{ports[1]}"
    phones.shut()
    for port in ports:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((HERE, port), timeout=60)


def test_an_app_that_is_served_otherwise_says_so():
    with pytest.raises(NetworkError, match="python -m match app"):
        Phones().open(Asked(address=HERE))


def test_what_was_asked_for_comes_through_the_environment():
    assert asked({}) == Asked()
    told = asked({OPEN: "9000", ADDRESS: "192.0.2.7", CERTIFICATE: "c.pem", KEY: "k.pem"})
    assert told == Asked(True, 9000, "192.0.2.7", "", "c.pem", "k.pem")

"""The listener itself: how many connections of strangers it holds, for how long, and that all can be cut at once."""

import asyncio
import shutil
import ssl
from concurrent.futures import ThreadPoolExecutor

import pytest

from match.errors import NetworkError
from match.network.certificate import named_files, tls
from match.network.listener import ConnectionLimits, Listener
from tests.network.test_certificate import made

LIMITS = ConnectionLimits(strangers=12, strangers_per_address=5, stranger_wait=10)
ASKED = b"GET / HTTP/1.1\r\nHost: a\r\n\r\n"


def run(work):
    """Run a coroutine in a thread without a loop: in this one a browser's may be running."""
    with ThreadPoolExecutor(1) as other:
        return other.submit(asyncio.run, work).result()


class Served:
    """A listener with an app that notes the key in the path, and a clock that stands still."""

    def __init__(self):
        self.seconds, self.inside = 0.0, {"in"}
        self.listener = Listener(LIMITS, lambda key: key in self.inside, lambda: self.seconds)

    async def door(self, scope, receive, send):
        if scope["path"] != "/":
            self.listener.showed(scope["client"], scope["path"].strip("/"))
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
        await send({"type": "http.response.body", "body": b"ok"})

    async def open(self, tls=None):
        self.port = await self.listener.open(self.door, "127.0.0.1", 0, tls, 1000)

    async def connect(self, number, first=1):
        """Open connections from as many addresses, of 127.0.0.0/8, and return their readers and writers."""
        return [
            await asyncio.open_connection("127.0.0.1", self.port, local_addr=(f"127.0.1.{first + each}", 0))
            for each in range(number)
        ]


async def ended(links, number):
    """Wait until at least so many of these have ended; return which."""
    waits = {asyncio.ensure_future(_end(reader)): place for place, (reader, _) in enumerate(links)}
    over, pending = set(), set(waits)
    while len(over) < number:
        done, pending = await asyncio.wait(pending, timeout=100, return_when=asyncio.FIRST_COMPLETED)
        assert done, "none ended"
        over |= {waits[each] for each in done}
    for each in pending:
        each.cancel()
    return over


async def _end(reader):
    try:
        while await reader.read(1000):
            pass
    except ConnectionError:
        return


def test_one_address_and_all_together_hold_few_connections_and_only_for_a_while():
    async def work():
        served = Served()
        await served.open()
        same = [await asyncio.open_connection("127.0.0.1", served.port, local_addr=("127.0.1.1", 0)) for _ in range(9)]
        assert len(await ended(same, 4)) == 4
        assert served.listener.held == 5
        others = await served.connect(20, first=2)
        assert len(await ended(others, 13)) == 13
        assert served.listener.held == 12
        served.seconds = 11.0
        served.listener.sweep()
        assert len(await ended([*same, *others], 29)) == 29
        served.listener.sweep()
        assert served.listener.held == 0
        served.listener.close()

    run(work())


def test_who_is_in_stays_while_strangers_are_cut_and_goes_at_once_when_shut_out():
    async def work():
        served = Served()
        await served.open()
        stranger, phone, former = await served.connect(3)
        for link, path in ((phone, b"/in"), (former, b"/gone")):
            link[1].write(ASKED.replace(b" / ", b" " + path + b" "))
            assert (await link[0].readuntil(b"ok")).startswith(b"HTTP/1.1 200")
        served.seconds = 11.0
        served.listener.sweep()
        assert await ended([stranger, phone, former], 2) == {0, 2}
        served.inside.clear()
        served.listener.sweep()
        assert await ended([phone], 1) == {0}
        served.listener.close()

    run(work())


def test_strangers_take_no_room_from_an_address_where_a_phone_is_in():
    async def work():
        served = Served()
        await served.open()
        (phone,) = await served.connect(1)
        phone[1].write(ASKED.replace(b" / ", b" /in "))
        assert (await phone[0].readuntil(b"ok")).startswith(b"HTTP/1.1 200")
        strangers = await served.connect(12, first=2)
        (late,) = await served.connect(1, first=20)
        assert await ended([late], 1) == {0}
        (more,) = await served.connect(1)
        more[1].write(ASKED)
        assert (await more[0].readuntil(b"ok")).startswith(b"HTTP/1.1 200")
        served.inside.clear()
        served.listener.sweep()
        (again,) = await served.connect(1)
        assert await ended([again], 1) == {0}
        assert len(strangers) == 12
        served.listener.close()

    run(work())


def test_closing_cuts_everybody_and_frees_the_port():
    async def work():
        served = Served()
        await served.open()
        links = await served.connect(2)
        served.listener.close()
        assert len(await ended(links, 2)) == 2
        again = Served()
        await again.listener.open(again.door, "127.0.0.1", served.port, None, 1000)
        again.listener.close()

    run(work())


def test_a_port_that_is_taken_is_said_in_one_sentence():
    async def work():
        served = Served()
        await served.open()
        with pytest.raises(NetworkError, match=f"nothing can listen at 127.0.0.1, port {served.port}"):
            await Served().listener.open(served.door, "127.0.0.1", served.port, None, 1000)
        with pytest.raises(NetworkError, match="the address is not this computer's"):
            await Served().listener.open(served.door, "192.0.2.77", 0, None, 1000)
        served.listener.close()

    run(work())


@pytest.mark.skipif(shutil.which("openssl") is None, reason="OpenSSL's program is not on this computer")
def test_with_the_shops_certificate_nothing_is_said_without_tls(tmp_path):
    files = made(tmp_path, "shop", "-days", "9", "-addext", "subjectAltName=IP:127.0.0.1")

    async def work():
        served = Served()
        await served.open(tls(named_files(*map(str, files)), "127.0.0.1"))
        trusting = ssl.create_default_context(cafile=str(files[0]))
        reader, writer = await asyncio.open_connection("127.0.0.1", served.port, ssl=trusting)
        writer.write(ASKED)
        assert (await reader.readuntil(b"ok")).startswith(b"HTTP/1.1 200")
        (plain,) = await served.connect(1)
        plain[1].write(ASKED)
        assert b"HTTP" not in await _all(plain[0])
        served.listener.close()

    run(work())


async def _all(reader):
    try:
        return await reader.read()
    except ConnectionError:
        return b""

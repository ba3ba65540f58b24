"""The program as it is started: one address, for this machine alone, and an end that leaves
nothing."""

import os
import signal
from pathlib import Path

import pytest

from pipeline.desk.place import make_place
from tests.desk_client import MAIL, Client, list_copies, make_books, start_desk, wait_until_wiped


@pytest.fixture
def started(tmp_path):
    """The program, started and entered."""
    process, first, place, seen = start_desk(tmp_path)
    client = Client(first)
    client.enter()
    yield process, client, place, seen
    process.kill()
    process.wait()


def test_it_ends_with_its_button(started):
    process, client, place, seen = started
    assert client.ask("GET", "/")[0] == 200
    assert client.ask("POST", "/close")[0] == 204
    assert process.wait(timeout=60) == 0
    assert list(place.iterdir()) == []
    assert "deleted" in seen.read_text("utf-8")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_leaves_nothing(started, plan, how):
    process, client, place, _ = started
    client.bring({"a.xlsx": make_books(plan)["good"]})
    client.bring({"b.xlsx": b"x"}, begin=False)
    assert list_copies(place)
    process.send_signal(how)
    process.wait(timeout=60)
    assert list(place.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
def test_when_it_is_killed_the_check_ends_and_wipes_its_copies(started, plan):
    process, client, place, _ = started
    path = client.bring({"a.xlsx": make_books(plan)["good"]})
    client.news(path)
    process.kill()
    process.wait()
    wait_until_wiped(place)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
def test_copies_that_a_killed_program_left_are_its_owners_and_go_with_the_next_start(started):
    process, client, place, _ = started
    client.bring({"a.xlsx": b"x"}, begin=False)
    process.kill()
    process.wait()
    assert list_copies(place)
    assert [folder.stat().st_mode & 0o777 for folder in place.iterdir()] == [0o700]
    with make_place(place):
        assert list_copies(place) == []


def test_nothing_that_a_request_carries_is_written_down(started, plan):
    process, client, _, seen = started
    books = make_books(plan)
    path = client.bring({f"{MAIL}.xlsx": books["identified"]})
    client.wait(path, "over")
    client.ask("GET", f"/{MAIL}")
    client.ask("GET", f"/?token={MAIL}", Cookie=None)
    client.ask("POST", "/withdrawn", MAIL)
    client.post("/withdrawn", pseudonyms=MAIL)
    client.ask("POST", "/close")
    process.wait(timeout=60)
    assert MAIL not in seen.read_text("utf-8")
    assert MAIL.encode() not in client.heard


@pytest.mark.skipif(not os.path.exists("/proc/net/tcp"), reason="looks at the sockets of Linux")
def test_it_listens_on_this_machine_alone(started):
    _, client, _, _ = started
    port = f"{client.parts.port:04X}"
    texts = [Path(f"/proc/net/{name}").read_text("ascii") for name in ("tcp", "tcp6")]
    rows = [line.split() for text in texts for line in text.splitlines()]
    listening = [row[1] for row in rows if row[3] == "0A" and row[1].endswith(f":{port}")]
    assert listening == [f"0100007F:{port}"]

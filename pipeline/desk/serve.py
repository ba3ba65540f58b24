"""Serves the page to the browser of this machine, until its window is closed."""

import asyncio
import logging
import signal
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from pipeline.desk.clock import Clock
from pipeline.desk.guard import Guard
from pipeline.desk.pages import Desk
from pipeline.desk.place import make_place, wipe

LOOK = 1  # seconds between two looks at the clock
SILENT = logging.CRITICAL + 1  # what a server writes down could hold what a request carried


def serve(
    plan: Path, say: Callable[[str], None], show: Callable[[str], object] = webbrowser.open
) -> None:
    """Serve the page until it is over.

    Parameters
    ----------
    plan
        Folder with the plan.
    say
        Hears the address to open.
    show
        Opens it.
    """
    with make_place() as place, socket.create_server(("127.0.0.1", 0)) as listening:
        clock = Clock()
        desk = Desk(plan, place, clock)
        guard = Guard(desk.app, listening.getsockname()[1])
        server = make_server(guard)

        @asynccontextmanager
        async def live(app: Starlette) -> AsyncIterator[None]:
            # within the server's own life, since a signal ends the process right behind it
            looking = asyncio.create_task(end_in_time(clock, server))
            say(guard.first)
            threading.Thread(target=show, args=(guard.first,), daemon=True).start()
            yield
            looking.cancel()
            desk.stop_all()
            wipe(place)

        desk.app.router.lifespan_context = live
        if hasattr(signal, "SIGHUP"):  # the terminal's window was closed
            signal.signal(signal.SIGHUP, lambda *_: clock.end())
        server.run(sockets=[listening])


def make_server(guard: Guard) -> uvicorn.Server:
    """A server that writes nothing down and believes no header that a proxy would add."""
    return uvicorn.Server(
        uvicorn.Config(
            guard,
            access_log=False,
            log_config=None,
            log_level=SILENT,
            lifespan="on",
            http="h11",
            ws="none",
            proxy_headers=False,
            server_header=False,
            timeout_graceful_shutdown=2,
        )
    )


async def end_in_time(clock: Clock, server: uvicorn.Server) -> None:
    """End the server when the clock says so."""
    while not clock.is_over():
        await asyncio.sleep(LOOK)
    server.should_exit = True

"""The verb `bench`: a board, its session, and the page that this machine's own browser shows."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from pathlib import Path

from host_sim.board_log import firmware_hash
from host_sim.errors import InputError
from host_sim.profile import load_profile
from secondtank.bench.ports import Cable, Port
from secondtank.bench.records import Book
from secondtank.bench.session import Session

HOST = "127.0.0.1"
_VIRTUAL_PROFILE = "full_guard"


@dataclass(frozen=True)
class BenchOrder:
    """What the command line asks for. `port`: a serial port's name; `virtual`: the board in this program instead."""

    port: str | None
    virtual: bool
    records: Path
    page_port: int
    show: bool


def run_bench(order: BenchOrder) -> int:
    """Serve until interrupted. Raises InputError."""
    from nicegui import app, ui
    from starlette.middleware.trustedhost import TrustedHostMiddleware

    from secondtank.bench.page import Bench, Page

    if order.virtual and order.port is not None:
        raise InputError("--port", order.port, "a port or --virtual, not both")
    _free(order.page_port)
    book = Book(order.records, firmware_hash())
    port = _port(order)
    session = Session(port)
    bench = Bench(session, book)
    app.add_static_files("/records", str(order.records), max_cache_age=0)
    # Another site's name that points to this machine is no way in.
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=[HOST, "localhost"])
    app.on_startup(session.start)
    app.on_shutdown(session.close)
    app.on_shutdown(port.close)
    print(
        f"bench: http://{HOST}:{order.page_port}/ for {port.name}; records in {order.records}; Ctrl-C ends it",
        flush=True,
    )
    ui.run(
        lambda: Page(bench) and None, host=HOST, port=order.page_port, title="secondtank bench", reload=False, show=order.show, dark=None,
        show_welcome_message=False, language="en-US",
    )  # fmt: skip
    return 0


def _port(order: BenchOrder) -> Port:
    if order.virtual:
        from secondtank.bench.virtual import VirtualBoard

        return VirtualBoard(load_profile(_VIRTUAL_PROFILE))
    cable = Cable(order.port)
    try:
        cable.open().close()
    except InputError as error:
        raise InputError(error.place, error.value, f"{error.wanted}; or --virtual, a board in this program") from None
    except OSError as error:
        raise InputError(
            cable.name, error.strerror or str(error), "a serial port that you may use and nobody else has open"
        ) from None
    return cable


def _free(port: int) -> None:
    with socket.socket() as probe:
        try:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((HOST, port))
        except OSError as error:
            raise InputError("--page-port", port, f"a port of this machine that is free ({error.strerror})") from None

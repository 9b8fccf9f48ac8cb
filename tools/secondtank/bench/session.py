"""The conversation with one board, in a thread of its own: opens, asks, feeds, reconnects. Pages read `view` and ask by `do`.

The bench lease is the board's: it ends there whenever this thread says nothing for a second. Nothing here takes it back unasked.
"""

from __future__ import annotations

import threading
import time
import traceback
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import closing, suppress
from dataclasses import replace
from datetime import datetime
from typing import TypeVar

from changeover.settings import defaults
from changeover.settings_file import settings_hash
from host_sim.errors import InputError
from host_sim.link_client import LinkClient, LinkError, LinkRefused, LinkSilent, Telemetry
from secondtank.bench.jobs import Jobs
from secondtank.bench.mirror import Mirror
from secondtank.bench.ports import Port
from secondtank.bench.stand import Stand
from secondtank.bench.view import ASKING, LOST, RATES, TALKING, Event, View, read_settings, said
from secondtank.bench.watcher import Watcher

T = TypeVar("T")

ALONE_S = 1800.0  # nobody touched anything for so long: the bench ends by itself (judgement)
_TURN_S = 0.2
FEED_S = 0.25  # from feed to feed: the lease is a second
_AGAIN_S = 0.5
_SILENT_S = 3.0
_EVENTS = 100


class Session:
    """One board. `stand`: what the bench feeds it; `watcher`: what it says; `events`: bounded, the newest last."""

    def __init__(self, port: Port) -> None:
        self.port = port
        self.view = View()
        self.stand = Stand(defaults())
        self.events: deque[Event] = deque(maxlen=_EVENTS)
        self.watcher = Watcher(self.stand)
        self.feed_s = FEED_S
        self.feeding = True  # false: hold the lease by nothing, to see it end
        self._jobs = Jobs()
        self._over = threading.Event()
        self._client: LinkClient | None = None
        self._touched_s = 0.0
        self._heard_s = self._fed_s = 0.0
        self._lost = self._rows_at_rate = 0
        self._thread = threading.Thread(target=self._run, name="bench", daemon=True)

    def start(self) -> None:
        """Begin to look for the board."""
        self._thread.start()

    def close(self) -> None:
        """Bench off, port given back."""
        self._over.set()
        self._thread.join()

    def do(self, job: Callable[[], T]) -> Future[T]:
        """Run in the session's thread, between two turns, while a board is connected: else the future has an InputError."""
        return self._jobs.put(job, self.view.link == TALKING, self.view.link)

    def touch(self) -> None:
        """A person is there."""
        self._touched_s = time.monotonic()

    def tell(self, text: str) -> None:
        """Put it down among the events."""
        self.events.append(Event(datetime.now().astimezone(), text))

    # in the thread; what a job may call

    @property
    def client(self) -> LinkClient:
        """The link; for a job only."""
        assert self._client is not None
        return self._client

    def begin(self, owner: str) -> None:
        """Take the bench for this page. Raises LinkRefused where the board does not grant it."""
        if self.view.owner:
            self.end("another page takes over")
        self.stand.park()
        self.client.change("bench on")
        self.feeding = True
        self._fed_s = 0.0
        row = self.view.row
        self.watcher.mirror = Mirror(self.view.values, False, row.tick_ms if row else 0)
        self.touch()
        self.tell("bench input begins")
        self._show(owner=owner)

    def end(self, why: str) -> None:
        """Give it back: every output falls."""
        if self.view.owner:
            self.client.ask("bench off")
            self._ended(why)

    def know_settings(self, values: dict[str, int], saved: dict[str, int]) -> None:
        """What the board was found to have; a job."""
        self.stand.rescale(values)
        self._show(values=values, saved=saved)

    def break_(self, ident: str) -> None:
        """Let a fault of the catalogue begin; a job."""
        row = self.view.row
        self.stand.break_(ident, time.monotonic(), row is not None and row.out["supply"] == 1)

    def _ended(self, why: str) -> None:
        self.tell(f"bench input ended, all outputs on diesel: {why}")
        self.watcher.mirror = Mirror(self.view.values, False)
        self.stand.park()
        self._show(owner="")

    def _show(self, **changes: object) -> None:
        self.view = replace(self.view, **changes)  # pyright: ignore[reportArgumentType]

    def _run(self) -> None:
        while not self._over.is_set():
            try:
                with closing(self.port.open()) as stream:
                    self._converse(LinkClient(stream))
            except (OSError, LinkError, InputError) as error:
                self._cut(error)
            except Exception as error:
                traceback.print_exc()  # a fault of this program: the page says so, and the board is asked anew
                self._cut(error)
            self._over.wait(_AGAIN_S)

    def _cut(self, error: Exception) -> None:
        self._client = None
        text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        why = text if not isinstance(error, LinkSilent) else f"it does not answer ({text})"
        if self.view.owner:
            self._ended("the link is cut; the board ends it by itself within a second")
        if self.view.link != LOST:
            self.tell(f"no board: {why}")
        self._show(link=LOST, why=why, row=None, reasons=(), readings=())
        self._jobs.refuse()

    def _converse(self, client: LinkClient) -> None:
        before = self.view
        self._show(link=ASKING, why="", port=self.port.name)
        client.sync()
        client.ask("watch 0")
        with suppress(LinkRefused):
            client.ask("bench off")  # left on by a host that is gone
        version = tuple(client.ask("version"))
        status = client.ask("status")
        values, saved = before.values, before.saved
        anew = said(version, "start") != said(before.version, "start")
        if anew or said(version, "settings") != settings_hash(values):
            values, saved = read_settings(client)
        self._client = client
        self._jobs.refuse()
        self.stand.rescale(values)
        self.watcher.mirror = Mirror(values, any(line.startswith("oil may be") for line in status))
        self._show(link=TALKING, version=version, values=values, saved=saved)
        self.tell(f"{'connected again' if before.version else 'connected'}: {self.port.name}, {version[0]}")
        if before.version and anew:
            self.tell("the board has started anew meanwhile")
        self._watch(RATES[0])
        self._heard_s = time.monotonic()
        while not self._over.is_set():
            self._turn(client)
        self.end("the bench is closed")

    def _watch(self, ticks: int) -> None:
        self.client.ask(f"watch {ticks}")
        self._rows_at_rate = 0
        self._show(every_ticks=ticks)

    def _turn(self, client: LinkClient) -> None:
        began_s = time.monotonic()
        if self._jobs.run():
            self._heard_s = max(self._heard_s, time.monotonic() - 1.0)  # rows may have waited behind a long answer
        if self.view.owner:
            self._feed(client)
        while not client.rows and time.monotonic() < began_s + _TURN_S:
            client.listen()
        while client.rows:
            self._take(client.rows.popleft())
        while client.notes:
            self._noted(client.notes.popleft())
        now_s = time.monotonic()
        if now_s - self._heard_s > _SILENT_S:
            raise LinkSilent("watch", f"no telemetry for {_SILENT_S:g} s")
        if self.view.owner and now_s - self._touched_s > ALONE_S:
            self.end(f"nobody touched anything for {ALONE_S / 60:g} minutes")

    def _feed(self, client: LinkClient) -> None:
        now_s = time.monotonic()
        if now_s - self._fed_s < self.feed_s or not self.feeding:
            return
        dt_s = min(now_s - self._fed_s, 1.0)
        self._fed_s = now_s
        try:
            fed = self.stand.feed(now_s, dt_s, self.view.row)
            client.feed(*fed)
            if self.watcher.mirror is not None:
                self.watcher.mirror.fed(*fed)
        except LinkRefused as error:
            client.listen()
            if not client.notes:
                self._ended(error.why)

    def _noted(self, note: str) -> None:
        if note.startswith("bench ended") and self.view.owner:
            self._ended(note.partition(": ")[2])
        else:
            self.tell(note)

    def _take(self, row: Telemetry) -> None:
        now_s = time.monotonic()
        self._heard_s = now_s
        changes = self.watcher.take(row, now_s)
        self._adapt(row)
        self._show(**changes)

    def _adapt(self, row: Telemetry) -> None:
        """Ask for rows no faster than the cable takes them. What was lost before the last change of that counts no more."""
        place = RATES.index(self.view.every_ticks)
        self._rows_at_rate += 1
        if row.lost > self._lost and self._rows_at_rate > 3 and place + 1 < len(RATES):
            self._watch(RATES[place + 1])
        self._lost = row.lost

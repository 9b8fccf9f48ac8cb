"""The page: a head that always says how things stand, and below it what one has come for. One `Page` a browser tab."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TypeVar

from nicegui import ui
from nicegui.events import KeyEventArguments

from host_sim.errors import InputError
from host_sim.link_client import LinkError
from secondtank.bench import words
from secondtank.bench.complain import complain
from secondtank.bench.records import Book
from secondtank.bench.session import Session
from secondtank.bench.view import TALKING

T = TypeVar("T")

CSS = Path(__file__).with_name("page.css")
REFRESH_S = 0.2
_NAMES = {"bench": "b", "checks": "c", "calibrate": "k", "settings": "s"}
KEYS = (
    ("b c k s", "Bench, Checks, Calibrate, Settings"),
    ("i", "begin bench input, or end it"),
    ("Esc", "end bench input at once: all outputs on diesel"),
    ("f", "search the faults"),
    ("1 ... 9", "break the fault with this number, or heal it"),
    ("h", "heal everything"),
    ("d", "dark or light"),
    ("arrows", "move the slider or tab that has the focus"),
    ("?", "this list"),
)


@dataclass
class Bench:
    """What all pages share."""

    session: Session
    book: Book


class Page:
    """One browser tab. `refreshers` run five times a second; `keys` do what is pressed outside a field."""

    def __init__(self, bench: Bench) -> None:
        from secondtank.bench.calibrate_tab import CalibrateTab
        from secondtank.bench.checks_tab import ChecksTab
        from secondtank.bench.live_tab import LiveTab
        from secondtank.bench.settings_tab import SettingsTab

        self.bench = bench
        self.session = bench.session
        self.id = ui.context.client.id
        self.refreshers: list[Callable[[], None]] = []
        self.keys: dict[str, Callable[[], object]] = {}
        ui.add_css(CSS)
        self.dark = ui.dark_mode(None)
        self._tab: dict[str, ui.tab] = {}
        self._help = self._build_help()
        self._build_head()
        with ui.tab_panels(self.tabs, value=self._tab["bench"], animated=False).classes("w-full") as panels:
            panels.props("keep-alive")
            for name, tab in (
                ("bench", LiveTab),
                ("checks", ChecksTab),
                ("calibrate", CalibrateTab),
                ("settings", SettingsTab),
            ):
                with ui.tab_panel(name), ui.element("main").classes("page"):
                    tab(self)
        for name, key in _NAMES.items():
            self.keys[key] = lambda name=name: self.turn_to(name)
        self.keys |= {"i": self.toggle, "Escape": self.end, "d": self._turn_dark, "?": self._help.open}
        ui.keyboard(self._pressed, ignore=["input", "select", "textarea"], repeating=False)
        ui.context.client.on_disconnect(self._gone)
        ui.timer(REFRESH_S, self.refresh)
        self.refresh()

    def _build_head(self) -> None:
        with ui.element("header").classes("bar"):
            ui.html("secondtank bench", tag="h1", sanitize=False)
            self._link = ui.label().classes("pill").props('role="status" aria-live="polite"')
            self._lease = ui.label().props('role="status" aria-live="polite"')
            ui.space()
            self._button = ui.button(on_click=self.toggle).props("no-caps")
            ui.button("Dark or light", on_click=self._turn_dark).props("flat no-caps dense")
            ui.button("Keys", on_click=self._help.open).props("flat no-caps dense")
        with ui.tabs().props("no-caps inline-label align=left").classes("w-full") as self.tabs:
            for name in _NAMES:
                self._tab[name] = ui.tab(name, label=name.capitalize())

    def _build_help(self) -> ui.dialog:
        with ui.dialog() as dialog, ui.card():
            rows = "".join(f"<tr><td><kbd>{escape(key)}</kbd></td><td>{escape(what)}</td></tr>" for key, what in KEYS)
            ui.html(f'<table class="plain">{rows}</table>', sanitize=False)
            ui.button("Close", on_click=dialog.close).props("no-caps")
        return dialog

    def turn_to(self, name: str) -> None:
        """Show one of the four tabs."""
        self.tabs.set_value(self._tab[name])

    @property
    def owns(self) -> bool:
        """Does this tab hold the bench?"""
        return self.session.view.owner == self.id

    def refresh(self) -> None:
        """Five times a second, what has changed."""
        view = self.session.view
        kind, said = words.link(view)
        self._link.text = said
        self._link.classes(replace=f"pill {kind}")
        state = f"{view.row.state}, " if view.row else ""
        if not view.owner:
            self._lease.text = f"{state}by its own sensors" if view.link == TALKING else ""
        else:
            self._lease.text = f"{state}by BENCH INPUT{'' if self.owns else ' of another page'}"
        self._button.text = (
            "End bench input" if self.owns else "Take bench input over" if view.owner else "Begin bench input"
        )
        self._button.set_enabled(view.link == TALKING)
        for refresh in self.refreshers:
            refresh()

    async def ask(self, job: Callable[[], T], done: str = "") -> T | None:
        """Let the session do something; say what came of it, or why nothing did (then None)."""
        future: Future[T] = self.session.do(job)
        try:
            result = await asyncio.wrap_future(future)
        except (LinkError, InputError, OSError, ValueError) as error:
            complain(error)
            return None
        if done:
            ui.notify(done, type="positive")
        return result

    async def toggle(self) -> None:
        """Begin bench input, take it over, or end it."""
        if self.owns:
            await self.end()
        else:
            await self.ask(lambda: self.session.begin(self.id))

    async def end(self) -> None:
        """Every output on diesel."""
        if self.session.view.owner:
            await self.ask(lambda: self.session.end("ended by hand"))

    def _gone(self) -> None:
        """The tab was closed, or its machine sleeps: nobody would see what happens."""
        if self.owns:
            self.session.do(lambda: self.session.end("its page is gone"))

    def _turn_dark(self) -> None:
        self.dark.value = not self.dark.value

    async def _pressed(self, event: KeyEventArguments) -> None:
        if not event.action.keydown or event.modifiers.ctrl or event.modifiers.alt or event.modifiers.meta:
            return
        action = self.keys.get(str(event.key))
        if action is not None:
            done = action()
            if asyncio.iscoroutine(done):
                await done

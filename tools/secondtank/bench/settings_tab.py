"""The settings, with unit, range and meaning; what the validator says of them together; saved to the board and read back."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from html import escape
from typing import TYPE_CHECKING

from nicegui import events, ui

from changeover.settings import ROWS, defaults
from changeover.settings_file import settings_hash
from host_sim.errors import InputError
from secondtank.bench import settings_edit, words
from secondtank.bench.complain import complain

if TYPE_CHECKING:
    from secondtank.bench.page import Page

_CAUTION = "These numbers decide when oil reaches the pump. Change one for a reason, keep the old file, and make the checks that it touches again."


class SettingsTab:
    """`edited`: what was typed and differs from what the board will have at its next start."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._session = page.session
        self.edited: dict[str, int] = {}
        self._typed_wrong: set[str] = set()
        self._inputs: dict[str, ui.number] = {}
        self._rows: dict[str, ui.element] = {}
        self._said: dict[str, ui.label] = {}
        self._known: tuple[dict[str, int], dict[str, int]] | None = None
        self._filling = False
        with ui.element("section").classes("card"):
            ui.html("Settings", tag="h2", sanitize=False)
            ui.html(words.caution(_CAUTION), sanitize=False)
            self._summary = ui.label().classes("big").props('role="status" aria-live="polite"')
            self._errors = ui.html(sanitize=False)
            with ui.element("div").classes("buttons"):
                self._save = ui.button("Save to the board", on_click=self.save).props("no-caps")
                ui.button("Undo all", on_click=self.undo).props("outline no-caps")
                ui.button("Export TOML", on_click=self._export).props("outline no-caps")
                ui.button("Take defaults", on_click=lambda: self.take(defaults())).props("outline no-caps")
            with ui.element("div").classes("buttons"):
                self._upload("Import TOML", self._import)
                self._upload("Compare with TOML", self._compare)
            with ui.expansion("Differences against the defaults").props("dense"):
                self._against_defaults = ui.html(sanitize=False)
            self._against_file = ui.html(sanitize=False)
        with ui.element("section").classes("card"):
            self._filter = ui.input("Search", on_change=self._sift).props("dense outlined clearable")
            for name, unit, usual, low, high in ROWS:
                self._row(name, unit, usual, low, high)
        page.refreshers.append(self.refresh)

    def _upload(self, name: str, then: Callable[[events.UploadEventArguments], Awaitable[None]]) -> None:
        """A plain button; what takes the file is not seen. The browser opens its window only straight from a click."""
        upload = ui.upload(auto_upload=True, on_upload=then).props("accept=.toml").classes("hidden").mark(name)
        button = ui.button(name).props("outline no-caps")
        button.on("click", js_handler=f"() => getElement({upload.id}).pickFiles()")

    def _row(self, name: str, unit: str, usual: int, low: int, high: int) -> None:
        smaller, larger = settings_edit.explained(name)
        with ui.element("div").classes("set") as row:
            ui.html(
                f'<b>{escape(name)}</b><br><span class="soft">{low} to {high} {escape(unit)}, default {usual}</span>',
                sanitize=False,
            )
            number = ui.number(min=low, max=high, step=1, format="%d", on_change=lambda e: self._typed(name, e.value))
            self._inputs[name] = number.props(f'dense outlined aria-label="{name}"').mark(name)
            with ui.element("div"):
                ui.html(
                    f'<span class="soft">smaller:</span> {escape(smaller)}<br><span class="soft">larger:</span> {escape(larger)}',
                    sanitize=False,
                )
                self._said[name] = ui.label().classes("bad")
        self._rows[name] = row

    def _next(self) -> dict[str, int]:
        view = self._session.view
        return {**view.values, **view.saved}

    def candidate(self) -> dict[str, int]:
        """What a save would leave on the board."""
        return {**self._next(), **self.edited}

    def _typed(self, name: str, value: float | None) -> None:
        if self._filling:
            return
        self._typed_wrong.discard(name)
        if value is None or value != int(value):
            self._typed_wrong.add(name)
        elif int(value) == self._next()[name]:
            self.edited.pop(name, None)
        else:
            self.edited[name] = int(value)
        self._judge()

    def take(self, values: dict[str, int]) -> None:
        """Put these into the fields; nothing is sent."""
        self.edited = {name: value for name, value in values.items() if value != self._next()[name]}
        self._typed_wrong.clear()
        self._fill()

    def undo(self) -> None:
        """Back to what the board has."""
        self.take(self._next())

    def _fill(self) -> None:
        self._filling = True
        for name, value in self.candidate().items():
            self._inputs[name].value = value
        self._filling = False
        self._judge()

    def _judge(self) -> None:
        candidate = self.candidate()
        found = settings_edit.errors(candidate)
        for name in self._typed_wrong:
            low, high = settings_edit.RANGES[name]
            found[name] = [f"should be a whole number from {low} to {high}"]
        for name, label in self._said.items():
            label.text = "; ".join(found.get(name, []))
            self._rows[name].classes(replace="set changed" if name in self.edited else "set")
        lines = [f"<p><b>{escape(name)}</b> {escape(text)}</p>" for name, texts in found.items() for text in texts]
        self._errors.content = "".join(lines)
        wrong = f", {len(lines)} wrong: nothing can be saved" if lines else ""
        self._summary.text = (
            f"{len(self.edited)} changed, not saved{wrong}" if self.edited or lines else self._board_words()
        )
        self._save.set_enabled(bool(self.edited) and not lines)
        self._against_defaults.content = _table(settings_edit.differences(candidate, defaults()), "here", "default")

    def _board_words(self) -> str:
        view = self._session.view
        if view.saved:
            return f"{len(view.saved)} saved for the board's next start: switch its feed off and on"
        return f"as on the board, settings {settings_hash(view.values)}"

    def refresh(self) -> None:
        """When the board is another, or has other settings."""
        view = self._session.view
        if (view.values, view.saved) != self._known:
            self._known = view.values, view.saved
            self.edited = {name: value for name, value in self.edited.items() if self._next()[name] != value}
            self._fill()

    async def save(self) -> None:
        """Send, save, read back."""
        changes = dict(self.edited)
        said = await self._page.ask(lambda: settings_edit.save(self._session, changes))
        if said:
            ui.notify(said, type="positive")
            self.edited = {}
            self._fill()

    def _export(self) -> None:
        values = self.candidate()
        about = "What differs from the defaults, as exported by the bench."
        ui.download.content(settings_edit.to_toml(values, about), f"settings_{settings_hash(values)}.toml")

    async def _read(self, event: events.UploadEventArguments) -> dict[str, int] | None:
        try:
            return settings_edit.from_toml(event.file.name, await event.file.read())
        except InputError as error:
            complain(error)
            return None

    async def _import(self, event: events.UploadEventArguments) -> None:
        values = await self._read(event)
        if values is not None:
            self.take(values)

    async def _compare(self, event: events.UploadEventArguments) -> None:
        values = await self._read(event)
        if values is not None:
            self._against_file.content = f"<p>Beside {escape(event.file.name)}:</p>" + _table(
                settings_edit.differences(self.candidate(), values), "here", "file"
            )

    def _sift(self) -> None:
        wanted = (self._filter.value or "").lower().split()
        for name, row in self._rows.items():
            told = f"{name} {' '.join(settings_edit.explained(name))}".lower()
            row.set_visibility(all(word in told for word in wanted))


def _table(rows: list[tuple[str, int | None, int | None]], left: str, right: str) -> str:
    if not rows:
        return "<p>No difference.</p>"
    lines = "".join(
        f'<tr><td>{escape(name)}</td><td class="mono">{a}</td><td class="mono">{b}</td></tr>' for name, a, b in rows
    )
    return f'<table class="plain"><tr><th>setting</th><th>{left}</th><th>{right}</th></tr>{lines}</table>'

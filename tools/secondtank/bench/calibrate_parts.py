"""The parts of a calibration: a card with its caution, a measurement, a result before and after, and the button that writes it."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING

from nicegui import ui

from host_sim import bench_quantities as quantities
from host_sim.bench_quantities import Measured
from host_sim.errors import InputError
from host_sim.link_client import Telemetry
from secondtank.bench import settings_edit, words
from secondtank.bench.check_runs import Steady
from secondtank.bench.mirror import Mirror

if TYPE_CHECKING:
    from secondtank.bench.page import Page

MEASURE_S = 10.0


class Measuring:
    """What all calibrations share. `taken`: counts by what was measured, of the board's own readings."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._session = page.session
        self.taken: dict[str, list[int]] = {}
        self._runs: list[tuple[str, Steady]] = []
        self._progress: dict[str, ui.label] = {}
        page.refreshers.append(self.refresh)

    def _card(self, title: str, caution: str, text: str) -> ui.element:
        card = ui.element("section").classes("card")
        with card:
            ui.html(escape(title), tag="h2", sanitize=False)
            if caution:
                ui.html(words.caution(caution), sanitize=False)
            ui.html(f"<p>{escape(text)}</p>", sanitize=False)
        return card

    def _measure(self, name: str, label: str, *channels: int) -> None:
        with ui.element("div").classes("buttons"):
            ui.button(label, on_click=lambda: self._begin(name, channels)).props("outline no-caps dense").mark(name)
            self._progress[name] = ui.label().classes("mono")

    async def _begin(self, name: str, channels: tuple[int, ...]) -> None:
        runs = [(f"{name} {channel}", Steady(channel, MEASURE_S)) for channel in channels]

        def listen(row: Telemetry, mirror: Mirror) -> None:
            for _, run in runs:
                run.take(row, mirror)

        def start() -> None:
            self._session.end("a calibration looks at the board's own sensors")
            self._session.watcher.listener = listen
            self._runs = runs

        await self._page.ask(start)

    def refresh(self) -> None:
        """What has been measured by now."""
        for name, run in self._runs:
            self._progress[name.rpartition(" ")[0]].text = run.progress
        if self._runs and all(run.outcome is not None for _, run in self._runs):
            self._session.watcher.listener = None
            for name, run in self._runs:
                self.taken[name] = run.counts
            parts = [
                f"{quantities.mean_counts(run.counts)[0]:.0f} counts" if min(run.counts) >= 0 else "no answer"
                for _, run in self._runs
            ]
            self._progress[self._runs[0][0].rpartition(" ")[0]].text = "measured: " + ", ".join(parts)
            self._runs = []

    def _counts(self, name: str) -> list[int]:
        if name not in self.taken:
            raise InputError(name.rpartition(" ")[0], "not measured yet", "a measurement first")
        return self.taken[name]

    def _result(self, name: str, compute: Callable[[], list[Measured]]) -> None:
        """A button that computes, a table of before and after, a button that writes."""
        found: list[Measured] = []
        shown = ui.html(sanitize=False)

        def show() -> None:
            try:
                found[:] = compute()
            except InputError as error:
                found.clear()
                shown.content = f'<p class="bad">{escape(str(error))}</p>'
            else:
                shown.content = "".join(_before_and_after(each, self._now()) for each in found)
            write.set_enabled(bool(found))

        async def keep() -> None:
            settings = {key: value for each in found for key, value in each.settings.items()}
            changes = {key: value for key, value in settings.items() if self._now()[key] != value}
            before = {key: self._now()[key] for key in settings}
            said = "the board has these values already"
            if changes:
                said = await self._page.ask(lambda: settings_edit.save(self._session, changes)) or ""
            if said:
                told = "; ".join(
                    f"{each.value:.6g} {each.unit}, off by {each.uncertainty:.2g} {each.unit} at most: {each.words}"
                    for each in found
                )
                view = self._session.view
                self._page.bench.book.add(
                    f"calibrate {name}", True, told, self._now(), view.version, f"before: {before}", settings
                )
                ui.notify(said, type="positive")

        with ui.element("div").classes("buttons"):
            ui.button("Compute", on_click=show).props("no-caps dense").mark(f"compute {name}")
            write = ui.button("Write to the board", on_click=keep).props("no-caps dense").mark(f"write {name}")
            write.set_enabled(False)

    def _now(self) -> dict[str, int]:
        return {**self._session.view.values, **self._session.view.saved}


def _before_and_after(found: Measured, now: dict[str, int]) -> str:
    rows = "".join(
        f'<tr><td>{escape(name)}</td><td class="mono">{now[name]}</td><td class="mono">{value} {escape(settings_edit.UNITS[name])}</td></tr>'
        for name, value in found.settings.items()
    )
    table = f'<table class="plain"><tr><th>setting</th><th>before</th><th>after</th></tr>{rows}</table>'
    told = f"{found.value:.6g} {found.unit}, off by {found.uncertainty:.2g} {found.unit}: {found.words}"
    return f"{table}<p>{escape(told)}</p>"

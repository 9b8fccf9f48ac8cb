"""The bench itself: what the board senses, what it thinks, what it drives, and the last minutes."""

from __future__ import annotations

import time
from html import escape
from typing import TYPE_CHECKING

from nicegui import ui

from changeover.inputs import BONNET, BRAKE, BUTTON, ENGINE, KEY, LIGHTING, NEUTRAL, READY
from changeover.settings import purge_ul
from secondtank.bench import words
from secondtank.bench.chart import Chart
from secondtank.bench.fault_list import FaultList
from secondtank.bench.stand import COLD, STARTED, WARM
from secondtank.bench.view import View

if TYPE_CHECKING:
    from secondtank.bench.page import Page

# Of each analog input, in the law's order: its slider's ends and step as people read them, and the law's units in one of them.
SLIDERS = (
    (-30.0, 120.0, 0.5, 100), (-30.0, 120.0, 0.5, 100), (0.0, 60.0, 0.1, 1000), (-30.0, 120.0, 0.5, 100), (-30.0, 120.0, 0.5, 100),
    (0.0, 100.0, 0.5, 10), (0.0, 100.0, 0.5, 10), (6.0, 16.0, 0.1, 1000), (-30.0, 50.0, 0.5, 100), (80.0, 106.0, 0.1, 1000),
)  # fmt: skip
_SWITCHES = ((KEY, "Key on"), (ENGINE, "Engine runs"), (READY, "Selector on READY"))
_MORE = ((BRAKE, "Parking brake on"), (NEUTRAL, "Gear in neutral"), (BONNET, "Bonnet closed"), (LIGHTING, "Lights on"))
_CAUTION = (
    "Bench input drives the valves' outputs, lamps and buzzer. Fuel lines closed, nothing that burns about, hands away from valves; "
    "key off, engine stopped. Heater and run-on stay off. For work on a car, local rules and licensed practice go first."
)


class LiveTab:
    """Three columns, the chart, the faults, what happened."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._session = page.session
        self._switches: dict[int, ui.switch] = {}
        self._sliders: list[ui.slider] = []
        self._values: list[ui.label] = []
        self._names: list[ui.label] = []
        self._rows: list[ui.element] = []
        with ui.element("div").classes("live"):
            with ui.element("section").classes("card senses"):
                self._build_senses()
            with ui.element("section").classes("card thinks"):
                self._build_thinks()
            with ui.element("section").classes("card drives"):
                self._build_drives()
            with ui.element("section").classes("card strip"):
                ui.html("The last five minutes", tag="h2", sanitize=False)
                self._chart = Chart(self._session)
            with ui.element("section").classes("card faults"):
                FaultList(page)
            with ui.element("section").classes("card events"):
                ui.html("What happened", tag="h2", sanitize=False)
                self._events = ui.html(sanitize=False).classes("list").props('tabindex="0"')
        page.refreshers.append(self.refresh)

    def _build_senses(self) -> None:
        ui.html("Senses", tag="h2", sanitize=False)
        self._caution = ui.html(words.caution(_CAUTION), sanitize=False)
        self._hands = ui.element("div")
        with self._hands:
            with ui.element("div").classes("buttons"):
                for name, presets, levels in (
                    ("Cold morning", COLD, (False, False, False)),
                    ("Start the engine", STARTED, (True, True, False)),
                    ("Warm, READY", WARM, (True, True, True)),
                ):
                    ui.button(name, on_click=lambda _, p=presets, n=levels: self._preset(p, n)).props(
                        "outline no-caps dense"
                    )
            with ui.element("div").classes("buttons"):
                for index, name in _SWITCHES:
                    self._switch(index, name)
            with ui.element("div").classes("buttons"):
                ui.label("Button:")
                ui.button("Press", on_click=lambda: self._press(0.7)).props("outline no-caps dense")
                ui.button("Hold 3 s", on_click=lambda: self._press(3.0)).props("outline no-caps dense")
            with ui.expansion("More switches").props("dense"), ui.element("div").classes("buttons"):
                for index, name in _MORE:
                    self._switch(index, name)
        self._contacts = ui.html(sanitize=False)
        for index, (low, high, step, _) in enumerate(SLIDERS):
            with ui.element("div").classes("sense") as row:
                self._names.append(ui.label())
                self._values.append(ui.label().classes("mono"))
                slider = ui.slider(min=low, max=high, step=step, on_change=lambda e, i=index: self._slid(i, e.value))
                self._sliders.append(slider.props("dense"))
            self._rows.append(row)
        self._unfitted = ui.label().classes("soft")

    def _switch(self, index: int, name: str) -> None:
        self._switches[index] = ui.switch(name, on_change=lambda e, i=index: self._switched(i, bool(e.value)))

    def _build_thinks(self) -> None:
        ui.html("Thinks", tag="h2", sanitize=False)
        self._state = ui.label().classes("big").props('role="status" aria-live="polite"')
        self._meaning = ui.label().classes("soft")
        self._headline = ui.label().classes("big")
        self._reasons = ui.html(sanitize=False)
        self._progress = ui.label()
        with ui.expansion("Not guarded").props("dense") as self._fold:
            self._unguarded = ui.html(sanitize=False)

    def _build_drives(self) -> None:
        ui.html("Drives", tag="h2", sanitize=False)
        self._glass = ui.html(sanitize=False).classes("glass")
        self._step = ui.label().classes("warn")
        self._lamps = ui.html(sanitize=False)
        self._outputs = ui.html(sanitize=False)

    def _preset(self, readings: dict[int, int], levels: tuple[bool, bool, bool]) -> None:
        for index, value in readings.items():
            self._sliders[index].value = value / SLIDERS[index][3]
        for (index, _), on in zip(_SWITCHES, levels, strict=True):
            self._switches[index].value = on

    def _slid(self, index: int, value: float | None) -> None:
        if value is not None and self._page.owns:
            self._session.stand.wanted[index] = round(value * SLIDERS[index][3])
            self._session.touch()

    def _switched(self, index: int, on: bool) -> None:
        if self._page.owns:
            self._session.stand.levels[index] = on
            self._session.touch()

    def _press(self, seconds: float) -> None:
        if self._page.owns:
            self._switched(BUTTON, True)
            ui.timer(seconds, lambda: self._switched(BUTTON, False), once=True)

    def refresh(self) -> None:
        """What has changed."""
        view, owns = self._session.view, self._page.owns
        stand = self._session.stand
        self._caution.set_visibility(not view.owner or owns)
        self._hands.set_visibility(owns)
        if owns:
            for index, switch in self._switches.items():
                switch.value = stand.levels[index]
        self._contacts.set_visibility(not owns)
        if view.row is not None and not owns:
            on = [name for name, level in zip(words.CONTACTS, view.row.levels, strict=True) if level]
            self._contacts.content = f"<p>Contacts closed: <b>{escape(', '.join(on) or 'none')}</b></p>"
        elif view.row is None:
            self._contacts.content = ""
        self._read(owns)
        row = view.row
        self._state.text = row.state if row else "-"
        self._meaning.text = words.STATE_WORDS[row.state] if row else ""
        kind, said = words.headline(view)
        self._headline.classes(replace=f"big {kind}").text = said
        self._reasons.content = words.reasons(view)
        self._progress.text = _progress(view)
        self._fold.set_visibility(bool(view.unguarded))
        self._unguarded.content = "".join(f"<p>{escape(text)}: not fitted</p>" for text in view.unguarded)
        said = words.message(row)
        self._glass.content = words.picture(view.picture if row else bytes(1024), said)
        self._step.text = "" if view.in_step else f"The dots may differ from the board's. It says: {said}"
        self._lamps.content = words.lamps(row)
        self._outputs.content = words.outputs(view)
        self._chart.refresh(time.monotonic())
        self._events.content = "".join(
            f'<p><span class="mono soft">{event.at:%H:%M:%S}</span> {escape(event.text)}</p>'
            for event in reversed(list(self._session.events)[-40:])
        )

    def _read(self, owns: bool) -> None:
        readings = self._session.view.readings
        if not readings:
            for label in self._values:
                label.text = "-"
            return
        for index, reading in enumerate(readings):
            self._rows[index].set_visibility(reading.fitted)
            self._names[index].text = reading.name
            self._values[index].text = reading.text
            self._values[index].classes(replace="mono" if reading.value is not None else "mono bad")
            slider = self._sliders[index]
            slider.set_visibility(owns)
            slider.props(f'aria-label="{reading.name}"')
            if owns:
                slider.value = self._session.stand.wanted[index] / SLIDERS[index][3]
        unfitted = [reading.name for reading in readings if not reading.fitted]
        self._unfitted.text = f"Not fitted: {', '.join(unfitted)}" if unfitted else ""


def _progress(view: View) -> str:
    row = view.row
    if row is None:
        return ""
    if row.state == "FILLING":
        return f"filled at the highest flow: {row.fill_ul / 1000:.0f} mL of {view.values['path_ul'] / 2000:.0f}"
    if row.state in ("PURGING", "RUN_ON"):
        return f"credited at the lowest flow: {row.credit_ul / 1000:.0f} mL of {purge_ul(view.values) / 1000:.0f}"
    return ""

"""Fingers and plugs for a board that is simulated: shown only where the port has such hands."""

from __future__ import annotations

from nicegui import ui

from changeover.inputs import BUTTON
from link_report import SENSORS
from secondtank.bench.ports import Hands
from secondtank.bench.words import CONTACTS


def hands_card(hands: Hands) -> None:
    """Contacts to switch, plugs to pull, the feed to break."""
    with ui.expansion("Hands at the simulated board").props("dense"):
        with ui.element("div").classes("buttons"):
            for index, name in enumerate(CONTACTS):
                if index != BUTTON and "valve" not in name:
                    ui.switch(name, on_change=lambda e, i=index: hands.level(i, bool(e.value))).mark(f"hand-{index}")
        with ui.element("div").classes("buttons"):
            ui.button("Press its button", on_click=lambda: _press(hands)).props("outline no-caps dense")
            ui.button("Feed off and on", on_click=hands.restart).props("outline no-caps dense")
            pulled: list[int] = []

            def pull(channel: int | None) -> None:
                while pulled:
                    hands.unplug(pulled.pop(), False)
                if channel is not None and channel >= 0:
                    hands.unplug(channel, True)
                    pulled.append(channel)

            names = {-1: "every plug is in"} | {index: f"unplugged: {name}" for index, (name, _) in enumerate(SENSORS)}
            ui.select(names, value=-1, on_change=lambda e: pull(e.value)).props("dense outlined").mark("plug")


def _press(hands: Hands) -> None:
    hands.level(BUTTON, True)
    ui.timer(0.5, lambda: hands.level(BUTTON, False), once=True)

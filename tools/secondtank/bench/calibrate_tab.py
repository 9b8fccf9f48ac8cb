"""Calibration at the desk: five quantities, each measured, shown before and after with what it may be off, and written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

from changeover.sensing import BARO, COOLANT, DIESEL_LEVEL, OIL, OIL_LEVEL, SUCTION
from host_sim import bench_quantities as quantities
from host_sim.bench_quantities import Measured
from host_sim.errors import InputError
from secondtank.bench.calibrate_parts import Measuring

if TYPE_CHECKING:
    from secondtank.bench.page import Page

_SCALDS = "Boiling water and its steam scald. A pan that cannot tip, tongs, nobody hurried; sensors and their wires only, never the board."
_FUEL = "Fuel in the air: no spark, doors open, catch what runs out. Hot coolant is under pressure: open nothing on a warm engine."
_RUNS = (
    "Running engine: outdoors (carbon monoxide), not alone, sleeves away from belts. Hot oil burns: glasses, gloves, a jar that "
    "cannot tip, no hot exhaust below. Local rules say where it goes."
)


class CalibrateTab(Measuring):
    """The board's own readings, its key off."""

    def __init__(self, page: Page) -> None:
        super().__init__(page)
        with ui.element("div").classes("cols"):
            self._thermistors()
            self._suction()
            for tank, channel in (("oil", OIL_LEVEL), ("diesel", DIESEL_LEVEL)):
                self._level(tank, channel)
            self._flow()
            self._path()

    def _thermistors(self) -> None:
        text = "Both sensors in stirred ice water, measure; then in water at a full boil, measure. Say how high you are, or the air pressure here."
        with self._card("Thermistors: ice and boiling water", _SCALDS, text):
            self._measure("ice", "Measure in ice", COOLANT, OIL)
            self._measure("boil", "Measure in boiling water", COOLANT, OIL)
            with ui.element("div").classes("buttons"):
                height = ui.number("Altitude, m", value=0).props("dense outlined")
                kpa = ui.number("or air pressure, kPa").props("dense outlined")

            def compute() -> list[Measured]:
                at = quantities.boiling_point(height.value, kpa.value)
                return [
                    quantities.thermistor_trim(
                        name, self._now(), self._counts(f"ice {index}"), self._counts(f"boil {index}"), at
                    )
                    for name, index in (("coolant", COOLANT), ("oil", OIL))
                ]

            self._result("thermistors", compute)

    def _suction(self) -> None:
        with self._card("Suction: zero", _FUEL, "Hose off the sensor, engine off."):
            self._measure("zero", "Measure", SUCTION)

            def compute() -> list[Measured]:
                readings = self._session.view.readings
                baro = readings[BARO].value if readings else None
                return [quantities.suction_zero(self._now(), self._counts(f"zero {SUCTION}"), baro)]

            self._result("suction zero", compute)

    def _level(self, tank: str, channel: int) -> None:
        with self._card(
            f"{tank.capitalize()} level: empty and full",
            _FUEL,
            "Tank empty (or the sender held empty), measure; brim-full, measure.",
        ):
            self._measure(f"{tank} empty", "Measure empty", channel)
            self._measure(f"{tank} full", "Measure full", channel)
            self._result(
                f"{tank} level",
                lambda: [
                    quantities.level_ends(
                        tank, self._counts(f"{tank} empty {channel}"), self._counts(f"{tank} full {channel}")
                    )
                ],
            )

    def _flow(self) -> None:
        text = "Return hose into a jar for 60 s at idle; twice, within 5 %."
        with self._card("Flow: jar and clock", _RUNS, text):
            fields = []
            for number in (1, 2):
                with ui.element("div").classes("buttons"):
                    fields.append(
                        (
                            ui.number(f"Jar {number}, mL").props("dense outlined"),
                            ui.number("s", value=60).props("dense outlined"),
                        )
                    )
            mark = ui.number("Marks of the jar, mL", value=10).props("dense outlined")

            def compute() -> list[Measured]:
                fillings = [(ml.value, seconds.value or 0.0) for ml, seconds in fields if ml.value is not None]
                return [quantities.flow_by_jar(fillings, mark.value or 0.0)]

            self._result("flow", compute)

    def _path(self) -> None:
        text = "Every hose, pipe and hole between the supply valve and the return valve, by bore and length: pump and filter bodies, too."
        with self._card("Line volumes: bores and lengths", "", text):
            area = ui.textarea("A piece a line: bore mm, length m", value="8, 1.5\n6, 2.0").props(
                "dense outlined autogrow"
            )
            self._result("line volumes", lambda: [quantities.path_volume(_pieces(area.value or ""))])


def _pieces(text: str) -> list[tuple[float, float]]:
    pieces = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            bore, length = (float(part) for part in line.replace(";", ",").split(","))
        except ValueError:
            raise InputError(f"line {number}", line, "bore in mm, a comma, length in m, such as 8, 1.5") from None
        pieces.append((bore, length))
    return pieces

"""An oil's answer as text for a terminal, as a page, and as a drawing."""

from __future__ import annotations

from secondtank import oil_page
from secondtank.oil_answer import CAUTIONS, SHOWN_C, OilAnswer
from secondtank.oil_figure import BLUE, INK, Axis, Figure

_FROM_C, _TO_C = 0, 110
_DECADES = (2, 5, 10, 20, 50, 100, 200, 500, 1000)


def as_text(answer: OilAnswer, written: list[str]) -> str:
    """What the terminal shows."""
    parts = [answer.title, f"  {answer.verdict()}", *(f"  from: {line}" for line in answer.oil.evidence)]
    parts += [
        "",
        oil_page.in_columns(_CURVE_HEADS, _curve_rows(answer)),
        "",
        oil_page.in_columns(_BLEND_HEADS, _blend_rows(answer)),
    ]
    parts += ["", *(f"  ! {note}" for note in answer.notes), *(f"  {line}" for line in written)]
    return "\n".join(parts)  # fmt: skip


def as_svg(answer: OilAnswer) -> str:
    """Viscosity against temperature: band, likely line, readings, limit, and the temperatures that follow."""
    curve, plan = answer.oil.curve, answer.plan
    grid = list(range(_FROM_C, _TO_C + 1, 2))
    highest = max(curve.thick(_FROM_C), 200.0)
    top = next((decade for decade in _DECADES if decade >= highest), highest)
    figure = Figure(
        Axis("temperature, °C", _FROM_C, _TO_C, [(t, str(t)) for t in range(_FROM_C, _TO_C + 1, 10)]),
        Axis("mm²/s", 4.0, top, [(n, str(n)) for n in _DECADES if 4 <= n <= top], log=True),
        f"Viscosity against temperature: {answer.title}",
    )
    figure.bands.append(([(t, curve.thin(t)) for t in grid], [(t, curve.thick(t)) for t in grid]))
    figure.lines.append(([(t, curve.thick(t)) for t in grid], BLUE, ""))
    figure.lines.append(([(t, curve.nu(t)) for t in grid], INK, "7 3"))
    for reading in answer.oil.readings:
        if _FROM_C <= reading.t_c <= _TO_C:
            edges = (reading.nu_mm2_s * (1.0 - reading.tolerance), reading.nu_mm2_s * (1.0 + reading.tolerance))
            figure.dots.append((reading.t_c, *edges))
    figure.levels.append((plan.limit_mm2_s, f"limit at the pump {plan.limit_mm2_s:g}"))
    figure.marks += [
        (plan.restart_c, f"start warm {plan.restart_c:.1f}"),
        (plan.limit_c, f"limit reached {plan.limit_c:.1f}"),
        (plan.exit_c, f"back to diesel {plan.exit_c:.1f}"),
        (plan.entry_c, f"change over {plan.entry_c:.1f}"),
    ]
    return figure.svg()


def as_page(answer: OilAnswer) -> str:
    """The page."""
    plan = answer.plan
    caption = (
        "Blue: the thickest plausible curve, which decides. Dashed: the likely one. Shaded: all that is plausible. Dots: readings, "
        "as far as they may be off."
    )
    body = oil_page.facts(
        [
            ("change over at", f"{plan.entry_c:.1f} degC"),
            ("back to diesel below", f"{plan.exit_c:.1f} degC"),
            ("start warm on oil from", f"{plan.restart_c:.1f} degC"),
            ("limit at the pump", f"{plan.limit_mm2_s:g} mm2/s"),
            ("reached at, thickest", f"{plan.limit_c:.1f} degC"),
        ]
    )
    body += oil_page.notes(answer.notes) + oil_page.drawing(as_svg(answer), caption)
    body += oil_page.section("From", oil_page.notes(answer.oil.evidence))
    body += oil_page.section("Viscosity", oil_page.table("", _CURVE_HEADS, _curve_rows(answer)))
    body += oil_page.section("With diesel in it", oil_page.table(_RULE, _BLEND_HEADS, _blend_rows(answer)))
    settings = [(name, value) for name, value in plan.settings.items()]
    body += oil_page.section("Settings that follow", oil_page.table("", ("name", "value"), settings))
    return oil_page.page(
        answer.title, "An oil, and when it is thin enough", answer.verdict(), body, CAUTIONS, plan.entry_c <= 80.0
    )


_RULE = "Likely and thick by the rule of Arrhenius, thin by Refutas'; shares by volume at 15 °C. Never petrol."
_CURVE_HEADS = ("°C", "thin", "likely", "thick, mm²/s")
_BLEND_HEADS = ("% diesel", "thick at 40 °C", "thick at 70 °C", "change over at")


def _curve_rows(answer: OilAnswer) -> list[tuple[str, ...]]:
    curve = answer.oil.curve
    return [(str(t), *(f"{nu(t):.1f}" for nu in (curve.thin, curve.nu, curve.thick))) for t in SHOWN_C]


def _blend_rows(answer: OilAnswer) -> list[tuple[str, ...]]:
    return [(str(share), f"{at40:.1f}", f"{at70:.1f}", word) for share, at40, at70, word in answer.blends]

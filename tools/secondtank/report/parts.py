"""The parts of the report that are words and tables."""

from typing import Any

from secondtank.report.words import NOT_IN_LOG, amount, breakable, clock, duration, everyday, text
from secondtank.report_data import DriveRecord

_WORDS = {"no hazard": "No hazard", "hazard": "Hazard", "not valid": "Not valid", "replayed": "Replayed"}
_SIGNS = {"no hazard": "&#10003;", "hazard": "&#9650;", "not valid": "?", "replayed": "&#8634;"}
_SHOWN_ELSEWHERE = {
    "verdict",
    "title",
    "hazards",
    "time_on_oil_s",
    "time_on_oil_ideal_s",
    "use_share",
    "false_forced_exits",
    "transitions",
    "litres",
    "balance",
    "notes",
    "interrupted",
    "oil_in_lines",
    "said",
}
_NAMES = {"version": "version", "seed": "seed", "settings_hash": "settings hash", "firmware_hash": "firmware hash"}

_ARROW = '<span role="img" aria-label="to">&#8594;</span>'

CAUTIONS = """<footer>
<h2>Before you trust this</h2>
<p>A simulation, or one log, proves nothing about your car. The simulated car is a model with coefficients that
somebody chose or measured elsewhere; your pump, hoses, filter and oil differ. Before oil reaches an engine, measure
your own flows and temperatures, do the bench check, and have fuel, coolant and electrical work done or inspected by
someone licensed for it. Hot coolant, hot oil and fuel lines under pressure injure; a running engine in a closed
space kills. Whether waste oil may be carried, burnt or taxed as road fuel, and whether a second tank may be fitted,
is for your local codes and the vehicle's inspection to say.</p>
</footer>
"""


def verdict_word(drive: DriveRecord) -> str:
    return _WORDS.get(str(drive.summary.get("verdict")), "Not valid")


def _oil_left(drive: DriveRecord) -> str:
    """How the purge stands at the end; "not in log" where neither the record nor the transitions say."""
    touched = [
        row
        for row in drive.summary.get("transitions") or []
        if "FILLING" in (row["to"], row["from"]) or row["to"] == "ON_OIL"
    ]
    left = drive.summary.get("oil_in_lines")
    if left is None:
        return f"purge {NOT_IN_LOG}"
    if left:
        return "purge not finished: oil in the lines"
    return "purge finished" if touched else "no oil in the lines"


def verdict(drive: DriveRecord) -> str:
    """The answer in one line, with the numbers a driver asks for; with "not valid" the reason instead."""
    summary = drive.summary
    word = str(summary.get("verdict"))
    kind = word if word in _WORDS else "not valid"
    partial = "Partial (interrupted): " if summary.get("interrupted") else ""
    if kind == "not valid":
        reasons = [text(note) for note in summary.get("notes") or []] or ["the record gives no reason"]
        said = "Not valid for the question: " + "; ".join(reasons).rstrip(".") + "."
    elif kind == "replayed":
        said = text(summary.get("said"))
    else:
        share = summary.get("use_share")
        litres = summary.get("litres") or {}
        on_oil = f"{duration(summary.get('time_on_oil_s'))} on oil"
        of_ideal = (
            f" ({share * 100:.0f} % of the ideal)" if share is not None else f" (share of the ideal {NOT_IN_LOG})"
        )
        burnt = f"{amount(litres.get('diesel_burnt'), 'L')} diesel and {amount(litres.get('oil_burnt'), 'L')} oil burnt"
        passed = summary.get("hazards") or []
        told = sorted({str(hazard["id"]) for hazard in passed if hazard.get("told")})
        names = sorted({str(hazard["id"]) for hazard in passed if not hazard.get("told")})
        head = "No hazard" if kind == "no hazard" else f"Hazard {text(', '.join(names))}".rstrip()
        after = f" (apart from {text(', '.join(told))} after a true warning)" if told else ""
        said = f"{head}{after}: {on_oil}{of_ideal}; {burnt}; {_oil_left(drive)}."
    return (
        f'<p class="verdict {kind.replace(" ", "-")}"><span class="sign" aria-hidden="true">{_SIGNS[kind]}</span>'
        f"<span>{partial}{said}</span></p>"
    )


def figures_at_a_glance(drive: DriveRecord) -> str:
    summary = drive.summary
    litres = summary.get("litres") or {}
    share = summary.get("use_share")
    facts = [
        ("on oil", duration(summary.get("time_on_oil_s"))),
        ("an ideal controller", duration(summary.get("time_on_oil_ideal_s"))),
        ("share of the ideal", NOT_IN_LOG if share is None else f"{share * 100:.1f} %"),
        ("false forced exits", text(summary.get("false_forced_exits"))),
        ("diesel burnt", amount(litres.get("diesel_burnt"), "L")),
        ("oil burnt", amount(litres.get("oil_burnt"), "L")),
        ("oil into the diesel tank", amount(litres.get("oil_into_diesel_tank"), "L", 3)),
        ("diesel into the oil tank", amount(litres.get("diesel_into_oil_tank"), "L", 3)),
    ]
    return (
        '<dl class="facts">' + "".join(f"<div><dt>{name}</dt><dd>{value}</dd></div>" for name, value in facts) + "</dl>"
    )


def notes(drive: DriveRecord) -> str:
    said = drive.summary.get("notes") or []
    if not said or verdict_word(drive) == "Not valid":
        return ""
    return '<ul class="notes" aria-label="Notes">' + "".join(f"<li>{text(note)}</li>" for note in said) + "</ul>"


def made_from(drive: DriveRecord) -> str:
    """The fold: seed, versions, hashes, balances, whatever else the summary carries, and every setting by value."""
    summary = drive.summary
    balance = summary.get("balance") or {}
    rows = [(label, text(summary.get(name))) for name, label in _NAMES.items()]
    rows += [(f"balance of {name}, relative error", text(balance.get(name))) for name in ("volume", "energy")]
    rows += [
        (text(name.replace("_", " ")), _flat(value))
        for name, value in summary.items()
        if name not in _SHOWN_ELSEWHERE and name not in _NAMES
    ]
    brief = "; ".join(f"{label} {text(summary.get(name))}" for name, label in _NAMES.items())
    made = "".join(f'<tr><th scope="row">{name}</th><td>{value}</td></tr>' for name, value in rows)
    settings = "".join(
        f'<tr><th scope="row">{text(name)}</th><td class="number">{text(value)}</td>'
        f'<td class="number">{text(everyday(name, value))}</td></tr>'
        for name, value in sorted(drive.settings.items())
    )
    table = (
        f'<table><caption>Settings of the law</caption><thead><tr><th scope="col">name</th><th scope="col">value</th>'
        f'<th scope="col">in everyday units</th></tr></thead><tbody>{settings}</tbody></table>'
        if settings
        else f"<p>Settings: {NOT_IN_LOG}.</p>"
    )
    return f"""<details class="made"><summary>Made from: {brief}; and all settings</summary>
<div class="made-inside"><table><caption>The run</caption><tbody>{made}</tbody></table>
{table}</div></details>"""


def _flat(value: Any) -> str:
    if isinstance(value, dict):
        return "; ".join(f"{text(name)} {_flat(inner)}" for name, inner in value.items())
    if isinstance(value, (list, tuple)):
        return "; ".join(_flat(inner) for inner in value) or "none"
    return text(value)


def _cell(label: str, inside: str, heads_row: bool) -> str:
    # The roles are said again because the narrow layout lays rows out as blocks, which costs them their table meaning.
    inside = f"<div>{inside}</div>" if inside else ""
    if heads_row:
        return f'<th scope="row" role="rowheader" data-label="{label}">{inside}</th>'
    return f'<td role="cell" data-label="{label}">{inside}</td>'


def table(caption: str, heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    head = "".join(f'<th scope="col" role="columnheader">{name}</th>' for name in heads)
    body = "".join(
        '<tr role="row">'
        + "".join(_cell(name, inside, i == 0) for i, (name, inside) in enumerate(zip(heads, row, strict=True)))
        + "</tr>"
        for row in rows
    )
    return (
        f'<table class="cards" role="table"><caption>{caption}</caption>'
        f'<thead role="rowgroup"><tr role="row">{head}</tr></thead><tbody role="rowgroup">{body}</tbody></table>'
    )


def _jump(t_s: float) -> str:
    shown = clock(t_s, tenths=True)
    return f'<button type="button" class="jump" data-at="{t_s:.1f}" title="Show it in the panels">{shown}</button>'


def _numbers(numbers: dict[str, Any] | None) -> str:
    if not numbers:
        return ""
    return (
        '<ul class="numbers">'
        + "".join(f"<li>{text(name)} <b>{text(value)}</b></li>" for name, value in numbers.items())
        + "</ul>"
    )


def events(drive: DriveRecord) -> str:
    """One table in the order of time: changes of state and everything else that happened."""
    changes: list[dict[str, Any]] = drive.summary.get("transitions") or []
    happened = sorted(changes + drive.events, key=lambda row: row["time_s"])
    if not happened:
        return '<p class="nolog">No event in this drive.</p>'
    rows = []
    for row in happened:
        what = (
            f"<b>{breakable(row['from'])}</b> {_ARROW} <b>{breakable(row['to'])}</b>"
            if "to" in row
            else text(row["kind"])
        )
        rows.append(
            (
                _jump(row["time_s"]),
                what,
                breakable(row.get("reason", "")),
                _numbers(row.get("numbers")),
                text(row.get("text", "")),
            )
        )
    return table(f"{len(rows)} events", ("time", "what", "reason", "numbers that decided", "in words"), rows)


def hazards(drive: DriveRecord) -> str:
    passed = drive.summary.get("hazards") or []
    if verdict_word(drive) == "Replayed":
        return '<p class="nolog">Not judged: only the simulated car knows the truth by which hazards are judged.</p>'
    if not passed:
        judged = verdict_word(drive) != "Not valid"
        said = "No hazard passed its limit." if judged else "Not judged: the run is not valid for the question."
        return f'<p class="nolog">{said}</p>'
    rows = [
        (
            text(row["id"]),
            text(row.get("name")),
            _jump(row["time_s"]),
            f"{text(row.get('value'))} {text(row.get('unit', ''))}",
            f"{text(row.get('limit'))} {text(row.get('unit', ''))}",
            "yes, counted apart" if row.get("told") else "no",
        )
        for row in passed
    ]
    return table(
        f"{len(rows)} limits passed, judged by the truth of the simulated car",
        ("id", "hazard", "time", "value", "limit", "driver told"),
        rows,
    )

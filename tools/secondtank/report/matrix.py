"""The page of the fault grid: verdict and claims first, then faults against states, each cell the worst that was seen there."""

from __future__ import annotations

from changeover.states import STATES
from host_sim.catalogue import BY_ID, Entry
from host_sim.grid import Result
from secondtank.fault_cells import cell_of, command
from secondtank.fault_totals import Totals, nearness
from secondtank.fault_words import UNDETECTABLE, about, many, promises
from secondtank.report import parts
from secondtank.report.frame import frame, resource
from secondtank.report.words import breakable, text

_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'"
BROKEN, PASSED, HELD, NOT_RUN, CANNOT_BE = "broken", "passed", "held", "not-run", "cannot-be"
_SIGNS = {BROKEN: "&#10007;", PASSED: "&#9650;", HELD: "&#10003;", NOT_RUN: "&#183;", CANNOT_BE: "&#8709;"}
_KEY = {
    BROKEN: "a promise did not hold",
    PASSED: "every promise held; a hazard that the catalogue lets pass did",
    HELD: "every promise held, no hazard passed its limit",
    NOT_RUN: "not run",
    CANNOT_BE: "no rig of these comes into this state",
}


def render(totals: Totals) -> str:
    """The page as one HTML text that needs nothing else."""
    counts = totals.counts()
    planned = {cell.fault for cell in totals.planned}
    shown = [entry for entry in BY_ID.values() if entry.id in planned]
    main = f"""<header>
<p class="kind">One fault at a time: each fault of the catalogue, in each state, at its first tick, in its middle and at its last tick</p>
<h1>The fault grid</h1>
{_verdict(totals)}
<ul class="notes">{"".join(f"<li>{text(claim.line)}.</li>" for claim in totals.claims())}
<li>Claim A (no fault): no hazard passed its limit in the undisturbed runs that the cells fork from.</li>
<li>Claim C (two faults): not tried here, not claimed. Beyond the cells that were run: no claim.</li></ul>
<dl class="facts">{
        "".join(f"<div><dt>cells {text(name.replace('_', ' '))}</dt><dd>{n}</dd></div>" for name, n in counts.items())
    }</dl>
{_made_from(totals)}
</header>
{_counterexamples(totals)}
<section aria-labelledby="h-matrix">
<h2 id="h-matrix">Faults and states</h2>
<ul class="key signs">{
        "".join(f'<li><b aria-hidden="true">{_SIGNS[kind]}</b> {said}</li>' for kind, said in _KEY.items())
    }</ul>
<p class="how">Times: longest seen of the promised. "Nearest": the largest share of any hazard's limit. A cell opens: its worst run, and
the command that repeats it. {_drives(totals)}</p>
<div class="controls" role="group" aria-label="Rows shown">
<label>Fault <input id="find" type="search" placeholder="oil-open, valve, ..."></label>
<label><input id="bad" type="checkbox"> only what did not hold</label>
</div>
<table class="matrix cards" role="table"><caption>{len(shown)} faults</caption>
<thead role="rowgroup"><tr role="row"><th scope="col" role="columnheader">fault</th>{
        "".join(f'<th scope="col" role="columnheader">{breakable(state)}</th>' for state in STATES)
    }</tr></thead>
<tbody role="rowgroup">{"".join(_row(entry, totals) for entry in shown)}</tbody></table>
</section>
<section aria-labelledby="h-undetectable">
<h2 id="h-undetectable">Undetectable, and what covers it</h2>
{_undetectable(shown)}
</section>
{parts.CAUTIONS}"""
    after = f"<script>\n{resource('matrix.js')}\n</script>\n"
    return frame(
        f"{_verdict_words(totals)}: the fault grid",
        main,
        style=resource("matrix.css") + "\n",
        after=after,
        policy=_POLICY,
    )


def _verdict_words(totals: Totals) -> str:
    broken = len(totals.counterexamples)
    return many(broken, "counterexample") if broken else "No counterexample"


def _verdict(totals: Totals) -> str:
    kind, sign = ("hazard", _SIGNS[BROKEN]) if totals.counterexamples else ("no-hazard", _SIGNS[HELD])
    counts = totals.counts()
    sample = " of a smoke sample" if totals.asked.smoke else ""
    partial = f" Partial ({text(totals.ended)}): {counts['not_run']} cells were not run." if totals.ended else ""
    said = f"{_verdict_words(totals)} in {many(counts['run'], 'cell')}{sample}.{partial}"
    return f'<p class="verdict {kind}"><span class="sign" aria-hidden="true">{sign}</span><span>{said}</span></p>'


def _made_from(totals: Totals) -> str:
    made = totals.as_dict()
    rows = [(name.replace("_", " "), text(made[name])) for name in ("version", "firmware_hash", "catalogue_hash")]
    rows += [(f"settings hash, {rig}", text(value)) for rig, value in made["settings_hash"].items()]
    rows += [(f"asked: {name}", "all" if value is None else text(value)) for name, value in made["asked"].items()]
    rules = [
        (f"{row['cells']} cells cannot be", f"{text(row['rule'])} ({text('; '.join(row['where']))})")
        for row in made["unreachable"]
    ]
    body = "".join(f'<tr><th scope="row">{name}</th><td>{value}</td></tr>' for name, value in rows + rules)
    brief = f"version {text(made['version'])}; catalogue {made['catalogue_hash']}; firmware {made['firmware_hash']}"
    return f'<details class="made"><summary>Made from: {brief}; cells that cannot be</summary><table><tbody>{body}</tbody></table></details>'


def _counterexamples(totals: Totals) -> str:
    if not totals.counterexamples:
        return ""
    rows = [
        (text(found.fault), breakable(found.state), text(found.phase), f"{text(found.layout)}, {text(found.authority)}",
         text("; ".join(found.broken)))
        for found in totals.counterexamples
    ]  # fmt: skip
    table = parts.table(many(len(rows), "cell"), ("fault", "state", "phase", "rig", "what did not hold"), rows)
    return f'<section aria-labelledby="h-counter"><h2 id="h-counter">Counterexamples</h2>{table}</section>'


def _drives(totals: Totals) -> str:
    worth = len(totals.by_fault)
    n = len(totals.drives)
    return (
        f"{n} of the {worth} faults have the report of their worst drive beside this page, marked &#8599;; counterexamples come first "
        f"(<code>--drives</code> sets how many)."
    )


def _row(entry: Entry, totals: Totals) -> str:
    results = totals.by_fault.get(entry.id, [])
    cells = []
    for state in STATES:
        here = [result for result in results if result.state == state]
        if here:
            cells.append(_cell(entry, state, here, totals))
        else:
            kind = CANNOT_BE if state in totals.never else NOT_RUN
            cells.append(_td(state, kind, f"<span>{_SIGNS[kind]} {kind.replace('-', ' ')}</span>"))
    broken = ' data-broken="yes"' if any(not result.held for result in results) else ""
    return (
        f'<tr role="row" data-fault="{text(entry.id)}"{broken}><th scope="row" role="rowheader"><div><b>{text(entry.id)}</b>'
        f'<span class="unit">{text(about(entry))}</span></div></th>{"".join(cells)}</tr>'
    )


def _td(state: str, kind: str, inside: str) -> str:
    return f'<td role="cell" data-label="{state}" class="{kind}"><div>{inside}</div></td>'


def _cell(entry: Entry, state: str, results: list[Result], totals: Totals) -> str:
    worst = max(results, key=nearness)
    broken = sum(not result.held for result in results)
    hazards = sorted(
        {str(found["id"]) for result in results for found in result.hazards}, key=lambda name: int(name[1:])
    )
    kind = BROKEN if broken else PASSED if hazards else HELD
    drive = next((totals.drives[cell_of(result)] for result in results if cell_of(result) in totals.drives), None)
    word = f"{broken} of {len(results)} broken" if broken else "held"
    brief = [f"<b>{_SIGNS[kind]} {word}</b>{' &#8599;' if drive else ''}"]
    for name, time, promised in (("diesel", "diesel_s", entry.diesel_s), ("told", "told_s", entry.told_s)):
        seen = [getattr(result, time) for result in results if getattr(result, time) is not None]
        if promised is not None and seen:
            brief.append(f"{name} {max(seen):g} of {promised:g} s")
    near = max(results, key=lambda result: result.hazard_share)
    brief.append(
        f"passed {', '.join(hazards)}" if hazards else f"nearest {near.nearest} {near.hazard_share * 100:.0f} %"
    )
    more = [
        f"<p><b>{text(worst.phase)}, {text(worst.layout)}, {text(worst.authority)}</b>, the worst of {len(results)}:</p>"
    ]
    said = [f"promised: {text(promises(entry))}"]
    said += [f"did not hold: {text(words)}" for words in worst.broken] or ["every promise held"]
    said += [f"{text(found['id'])} {text(found['text'])}: {found['value']:.3g}, limit {found['limit']:.3g}"
             + (", after a true warning" if found["told"] else "") for found in worst.hazards]  # fmt: skip
    more.append("<ul>" + "".join(f"<li>{words}</li>" for words in said) + "</ul>")
    more.append(f"<code>{text(command(cell_of(worst)))}</code>")
    if drive:
        more.append(f'<p><a href="{text(drive)}/report.html">The drive that made it &#8599;</a></p>')
    return _td(
        state, kind,
        f'<details name="cell"><summary>{"<br>".join(brief)}</summary><div class="more">{"".join(more)}</div></details>',
    )  # fmt: skip


def _undetectable(shown: list[Entry]) -> str:
    rows = [
        (text(entry.id), text(entry.covered_by), text(", ".join(entry.may_pass)))
        for entry in UNDETECTABLE if entry in shown
    ]  # fmt: skip
    if not rows:
        return '<p class="nolog">None of the faults shown.</p>'
    return parts.table(f"{len(rows)} faults", ("fault", "margin or hardware barrier", "hazards that may pass"), rows)

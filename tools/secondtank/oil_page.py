"""A planner's page: verdict first, then figures, picture and tables; one HTML file in the report's style that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence

from secondtank.report.frame import frame
from secondtank.report.words import text

_MORE = """
figure.drawing { margin: 1rem 0; overflow-x: auto; }
figure.drawing svg { width: 100%; min-width: 620px; height: auto; }
figcaption { color: var(--soft); font-size: 0.9rem; }
.label { border: 3px solid var(--ink); padding: 0.8rem 1rem; width: 100mm; max-width: 100%; }
.label h1 { margin: 0 0 0.3rem; }
.label p { margin: 0.2rem 0; }
.label .small { font-size: 0.82rem; }
"""

Rows = Sequence[Sequence[object]]


def page(title: str, kind: str, verdict: str, body: str, cautions: Sequence[str], safe: bool = True) -> str:
    """The page. `kind`: what it is, in a line; `verdict`: the answer; `body`: HTML; `safe`: False marks a verdict to heed."""
    sign, look = ("&#10003;", "no-hazard") if safe else ("&#9650;", "hazard")
    shown = (
        f'<p class="verdict {look}"><span class="sign" aria-hidden="true">{sign}</span><span>{text(verdict)}</span></p>'
    )
    head = f'<header><p class="kind">{text(kind)}</p><h1>{text(title)}</h1>{shown}</header>'
    told = "".join(f"<p>{text(caution)}</p>" for caution in cautions)
    return bare(title, f"{head}{body}<footer><h2>Before you trust this</h2>{told}</footer>")


def bare(title: str, inside: str) -> str:
    """The frame, with what a drawing or a label needs on top."""
    return frame(title, inside, style=_MORE)


def facts(pairs: Sequence[tuple[str, str]]) -> str:
    """Figures at a glance."""
    return (
        '<dl class="facts">' + "".join(f"<div><dt>{text(k)}</dt><dd>{text(v)}</dd></div>" for k, v in pairs) + "</dl>"
    )


def section(title: str, inside: str) -> str:
    """A part of the page under its title."""
    return f"<section><h2>{text(title)}</h2>{inside}</section>"


def drawing(svg: str, caption: str) -> str:
    """A picture and what it shows."""
    return f'<figure class="drawing">{svg}<figcaption>{text(caption)}</figcaption></figure>'


def table(caption: str, heads: Sequence[str], rows: Rows) -> str:
    """A table; numbers come as text, ready to be read."""
    head = "".join(f'<th scope="col">{text(name)}</th>' for name in heads)
    body = "".join("<tr>" + "".join(f"<td>{text(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><caption>{text(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def notes(said: Sequence[str]) -> str:
    """What the reader has to know, a line each."""
    return '<ul class="notes">' + "".join(f"<li>{text(line)}</li>" for line in said) + "</ul>" if said else ""


def in_columns(heads: Sequence[str], rows: Rows) -> str:
    """The same for a terminal."""
    cells = [list(map(str, row)) for row in (heads, *rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(heads))]
    lines = ("  ".join([row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:])]) for row in cells)
    return "\n".join(f"  {line}" for line in lines)

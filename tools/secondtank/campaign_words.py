"""A campaign's summary as text."""

from __future__ import annotations

from pathlib import Path

from host_sim.campaign_totals import Record
from host_sim.hazards import NAMES

_FAULTS = ("no fault", "one fault a trip", "two faults a trip: searched and reported, not claimed")


def say(summary: Record, folder: Path) -> str:
    """The whole text, for a reader who did not watch."""
    partial = ", interrupted: partial; the same command with --resume goes on" if summary["interrupted"] else ""
    lines = [
        f"{summary['title']}: {summary['trips']} of {summary['of']} random trips, seed {summary['seed']}, "
        f"{_FAULTS[summary['faults']]}{partial}"
    ]
    if summary["died"]:
        numbers = ", ".join(map(str, summary["died"]))
        lines.append(f"  worker died twice in trip {numbers}: not counted below, and not explained")
    for label, name, total in zip("ab", summary["settings"], summary["totals"].values(), strict=False):
        lines += ["", f"{label.upper()}: settings {name}"] if summary["against"] else []
        lines += _total(total, summary["faults"], folder, label)
    if summary["against"]:
        lines += ["", *_against(summary["against"])]
    lines.append(f"  {folder / 'summary.json'}")
    return "\n".join(lines)


def _total(total: Record, faults: int, folder: Path, label: str) -> list[str]:
    n = total["trips"]
    lines = [f"  {total['not_valid']} trips are not valid and are left out"] if total["not_valid"] else []
    if not n:
        return [*lines, "  no valid trip"]
    never = []
    for name, counts in total["hazards"].items():
        seen = [f"untold in {counts['untold']} of {n} trips ({_rate(counts, n)})"] if counts["untold"] else []
        if counts["told"]:
            seen.append(f"after a warning in {counts['told']}")
        if counts["may_pass"]:
            seen.append(f"let pass by the fault's row in {counts['may_pass']}")
        if not counts["untold"]:
            never.append(name)
        if seen:
            lines.append(f"  {name} {NAMES[name]}: {'; '.join(seen)}")
    if never:
        listed = "none of H1 to H10" if len(never) == len(NAMES) else "none of " + ", ".join(never)
        lines.append(f"  untold, {listed}: each {_rate(total['hazards'][never[0]], n)}")
    lines += [_use(total["use"]), _exits(total["false_forced_exits"], n)]
    sums = total["sums"]
    lines.append(
        f"  burnt {sums['diesel_burnt']:.1f} L of diesel and {sums['oil_burnt']:.1f} L of oil over {sums['distance_km']:.0f} km; "
        f"{sums['diesel_into_oil_tank']:.1f} L of diesel into the oil tank by purging"
    )
    for name, kept in total["worst"].items():
        for row in kept:
            if row["untold"]:
                lines.append(
                    f"  {name} at {row['share_of_limit']:.2f} of its limit: {_replay(folder, row['trip'], label)}"
                )
    for row in total["use"]["worst"][:1]:
        lines.append(f"  least use, {100 * row['share']:.0f} %: {_replay(folder, row['trip'], label)}")
    return lines


def _replay(folder: Path, number: int, label: str) -> str:
    worst = folder / "worst"
    return f"secondtank drive {worst / f'trip_{number:06d}.toml'} --settings {worst / f'settings_{label}.toml'}"


def _rate(counts: Record, n: int) -> str:
    if "at_most_95" in counts:
        bound = f"3/{n} = {_percent(counts['at_most_95'])} %" if n > 3 else "100 %"
        return f"at most {bound} at 95 %, for this distribution"
    low, high = counts["interval_95"]
    return f"{_percent(low)} to {_percent(high)} % at 95 %, for this distribution"


def _percent(share: float) -> str:
    return f"{100 * share:.2g}" if share < 0.0995 else f"{100 * share:.0f}"


def _use(use: Record) -> str:
    if use["share"] is None:
        return "  time on oil: none was possible"
    span = (
        ""
        if use["interval"] is None
        else f" ({100 * use['interval'][0]:.1f} to {100 * use['interval'][1]:.1f} at 95 %)"
    )
    return f"  time on oil: {100 * use['share']:.1f} % of the ideal{span}; wanted: at least {100 * use['bar']:.0f} %"


def _exits(exits: Record, n: int) -> str:
    return (
        f"  false forced exits: {exits['per_100_trips']:.2g} in 100 trips; wanted: at most {exits['bar']:g}; trips with one: "
        f"{exits['trips_with_one']} ({_rate(exits, n)})"
    )


def _against(pairs: Record) -> list[str]:
    lines = [f"B against A, the same {pairs['pairs']} trips:"]
    for name, counts in pairs["hazards"].items():
        if counts["both"] or counts["only_a"] or counts["only_b"]:
            lines.append(
                f"  {name} untold in both {counts['both']}, only A {counts['only_a']}, only B {counts['only_b']} "
                f"(McNemar's exact test: p = {counts['p']:.2g})"
            )
    if len(lines) == 1:
        lines.append("  no untold hazard under either")
    for key, what, unit in (
        ("time_on_oil_s_more_in_b", "time on oil", "s"),
        ("diesel_l_more_in_b", "diesel burnt", "L"),
    ):
        found = pairs[key]
        if found["mean"] is None:
            continue
        span = (
            ""
            if found["interval"] is None
            else f" ({found['interval'][0]:+.2f} to {found['interval'][1]:+.2f} at 95 %)"
        )
        lines.append(f"  {what}: B {found['mean']:+.2f} {unit} a trip{span}")
    return lines

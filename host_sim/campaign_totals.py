"""What a campaign adds up to: counts, sums and the worst trips, never more however many trips it has."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Any

from host_sim.hazards import NAMES

Z95 = NormalDist().inv_cdf(0.975)
USE_BAR = 0.9  # time on oil over the ideal's; judgement of this project
FALSE_EXITS_BAR = 1.0  # false forced exits in 100 trips; judgement of this project
WORTH_S = 300.0  # a trip whose ideal is shorter has no use worth being called the worst
KEPT = 3  # worst trips for each hazard, and for use

Record = dict[str, Any]


def wilson(found: int, of: int) -> tuple[float, float]:
    """95 % interval of a share: Wilson's score interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, p. 209). `of` >= 1."""
    share = found / of
    spread = Z95 * math.sqrt(share * (1.0 - share) / of + Z95**2 / (4.0 * of**2))
    middle, scale = share + Z95**2 / (2.0 * of), 1.0 + Z95**2 / of
    return max(0.0, (middle - spread) / scale), min(1.0, (middle + spread) / scale)


def at_most(of: int) -> float:
    """Largest share that none in `of` >= 1 leaves likely, at 95 %: the rule of three.

    J. A. Hanley and A. Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA 249 (1983), p. 1743 (cited from
    memory). The exact bound, 1 - 0.05 ** (1 / of), is never more.
    """
    return min(1.0, 3.0 / of)


def discordant(only_a: int, only_b: int) -> float:
    """Probability of counts at least so unlike by chance alone: McNemar's test in its exact form, two-sided binomial."""
    pairs = only_a + only_b
    tail = sum(math.comb(pairs, count) for count in range(min(only_a, only_b) + 1))
    return min(1.0, 2 * tail / 2**pairs)


class Mean:
    """Mean of numbers that come one by one, with a 95 % interval from the normal distribution (n of some 30 or more)."""

    def __init__(self) -> None:
        self.n = 0
        self._mean = 0.0
        self._squares = 0.0

    def add(self, number: float) -> None:
        """One more (Welford's recurrence)."""
        self.n += 1
        beside = number - self._mean
        self._mean += beside / self.n
        self._squares += beside * (number - self._mean)

    def summary(self) -> Record:
        """Mean and interval; None where so few numbers have none."""
        half = Z95 * math.sqrt(self._squares / (self.n - 1) / self.n) if self.n > 1 else None
        return {
            "mean": round(self._mean, 4) if self.n else None,
            "interval": None if half is None else [round(self._mean - half, 4), round(self._mean + half, 4)],
        }


class Share:
    """Sum over sum, such as all time on oil over all that was possible, with the interval of a ratio of means (delta method)."""

    def __init__(self) -> None:
        self.n = 0
        self._sums = [0.0] * 5  # x, y, xx, xy, yy

    def add(self, part: float, whole: float) -> None:
        """One trip's."""
        self.n += 1
        for index, more in enumerate((part, whole, part * part, part * whole, whole * whole)):
            self._sums[index] += more

    def summary(self) -> Record:
        """Share and 95 % interval; None where there is none."""
        x, y, xx, xy, yy = self._sums
        if y == 0.0:
            return {"share": None, "interval": None}
        share = x / y
        if self.n < 2:
            return {"share": round(share, 4), "interval": None}
        variance = max(0.0, xx - 2.0 * share * xy + share * share * yy) / (self.n - 1)
        half = Z95 * math.sqrt(variance * self.n) / y
        return {"share": round(share, 4), "interval": [round(share - half, 4), round(share + half, 4)]}


class Worst:
    """The few numbers of the highest rank."""

    def __init__(self) -> None:
        self.kept: list[tuple[Any, int]] = []

    def offer(self, rank: Any, number: int) -> None:
        """A trip and how bad it was; of equals the first one stays."""
        self.kept = sorted([*self.kept, (rank, number)], key=lambda row: row[0], reverse=True)[:KEPT]


def untold(run: Record) -> set[str]:
    """Hazards of one run that nobody was warned of and no fault's row lets pass: counterexamples."""
    return {found["id"] for found in run["hazards"] if not found["told"] and not found["may_pass"]}


class Totals:
    """All trips under one settings file. `add` takes the record of one run; what is not a valid run counts for nothing else."""

    def __init__(self) -> None:
        self.trips = 0
        self.not_valid = 0
        self.hazards = {name: {"untold": 0, "told": 0, "may_pass": 0} for name in NAMES}
        self.exits = 0
        self.trips_with_exits = 0
        self.use = Share()
        self.sums = dict.fromkeys(("engine_s", "distance_km", "diesel_burnt", "oil_burnt", "diesel_into_oil_tank"), 0.0)
        self.worst = {name: Worst() for name in NAMES}
        self.worst_use = Worst()

    def add(self, number: int, run: Record) -> None:
        """One run."""
        if run["verdict"] == "not valid":
            self.not_valid += 1
            return
        self.trips += 1
        against = untold(run)
        for name, counts in self.hazards.items():
            found = [hazard for hazard in run["hazards"] if hazard["id"] == name]
            counts["untold"] += name in against
            counts["told"] += any(hazard["told"] for hazard in found)
            counts["may_pass"] += any(hazard["may_pass"] and not hazard["told"] for hazard in found)
            if run["margins"][name] > 0.0:
                self.worst[name].offer((name in against, run["margins"][name]), number)
        self.exits += run["false_forced_exits"]
        self.trips_with_exits += run["false_forced_exits"] > 0
        on_oil_s, ideal_s = run["time_on_oil_s"], run["time_on_oil_ideal_s"]
        self.use.add(on_oil_s, ideal_s)
        if ideal_s >= WORTH_S:
            self.worst_use.offer(-on_oil_s / ideal_s, number)
        for name in self.sums:
            self.sums[name] += run["litres"][name] if name in run["litres"] else run[name]

    @property
    def counterexamples(self) -> int:
        """Trips with untold hazards, a trip counted once for each."""
        return sum(counts["untold"] for counts in self.hazards.values())

    def summary(self) -> Record:
        """Everything as plain data."""
        return {
            "trips": self.trips,
            "not_valid": self.not_valid,
            "hazards": {name: counts | self._rate(counts["untold"]) for name, counts in self.hazards.items()},
            "use": self.use.summary() | {
                "bar": USE_BAR,
                "worst": [{"trip": number, "share": round(-rank, 4)} for rank, number in self.worst_use.kept],
            },
            "false_forced_exits": {
                "count": self.exits,
                "per_100_trips": round(100.0 * self.exits / self.trips, 3) if self.trips else None,
                "bar": FALSE_EXITS_BAR,
                "trips_with_one": self.trips_with_exits,
            } | self._rate(self.trips_with_exits),
            "sums": {name: round(total, 3) for name, total in self.sums.items()},
            "worst": {
                name: [{"trip": number, "share_of_limit": rank[1], "untold": rank[0]} for rank, number in worst.kept]
                for name, worst in self.worst.items()
            },
        }  # fmt: skip

    def _rate(self, found: int) -> Record:
        if not self.trips:
            return {}
        if not found:
            return {"at_most_95": round(at_most(self.trips), 6)}
        return {"interval_95": [round(end, 6) for end in wilson(found, self.trips)]}


class Pairs:
    """The same trips under two settings files, A and B."""

    def __init__(self) -> None:
        self.n = 0
        self.hazards = {name: {"both": 0, "only_a": 0, "only_b": 0} for name in NAMES}
        self.on_oil_s = Mean()
        self.diesel_l = Mean()

    def add(self, a: Record, b: Record) -> None:
        """One trip, if both its runs are valid."""
        if "not valid" in (a["verdict"], b["verdict"]):
            return
        self.n += 1
        in_a, in_b = untold(a), untold(b)
        for name, counts in self.hazards.items():
            counts["both"] += name in in_a and name in in_b
            counts["only_a"] += name in in_a and name not in in_b
            counts["only_b"] += name in in_b and name not in in_a
        self.on_oil_s.add(b["time_on_oil_s"] - a["time_on_oil_s"])
        self.diesel_l.add(b["litres"]["diesel_burnt"] - a["litres"]["diesel_burnt"])

    def summary(self) -> Record:
        """Discordant pairs of each hazard, and what B has more than A a trip."""
        return {
            "pairs": self.n,
            "hazards": {
                name: counts | {"p": round(discordant(counts["only_a"], counts["only_b"]), 6)}
                for name, counts in self.hazards.items()
            },
            "time_on_oil_s_more_in_b": self.on_oil_s.summary(),
            "diesel_l_more_in_b": self.diesel_l.summary(),
        }

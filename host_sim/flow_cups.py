"""Flow cups: from the seconds that oil takes to run out of a cup to its kinematic viscosity (mm2/s).

A cup is good for its range of seconds only: shorter, and its formula no longer holds; longer, and the end of the jet is
no longer seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from host_sim.errors import InputError

_ISO = "ISO 2431, formula and range from memory"
_FORD_READ = "a cup maker's page of conversions for ASTM D1200 (read)"
_FORD = "ASTM D1200, formula from memory; agrees with standard oils on a cup maker's page (read)"
_DIP = "a cup maker's page of conversions for ASTM D4212 (read)"
_OLD = "DIN 53211 (withdrawn 1996), formula from memory"


@dataclass(frozen=True)
class Cup:
    """nu = slope (t - lead) - loss / t, with t in s from `shortest_s` to `longest_s`.

    `repeat`: by how much of their mean runs of one hand may differ; `accuracy`: how far a mean may be from the truth.
    """

    name: str
    slope: float
    lead_s: float
    loss: float
    shortest_s: float
    longest_s: float
    repeat: float
    accuracy: float
    source: str

    def nu(self, seconds: float) -> float:
        """Kinematic viscosity in mm2/s of a flow time within the cup's range. Raises InputError that names a cup that fits."""
        if not self.shortest_s <= seconds <= self.longest_s:
            raise InputError(f"seconds of cup {self.name}", seconds, self._wanted(seconds))
        return self._formula(seconds)

    def _formula(self, seconds: float) -> float:
        return self.slope * (seconds - self.lead_s) - self.loss / seconds

    def _wanted(self, seconds: float) -> str:
        told = f"{self.shortest_s:g} to {self.longest_s:g} s, where its formula holds"
        nu = self._formula(seconds) if 5.0 <= seconds <= 1000.0 else 0.0
        fits = [
            f"{cup.name} ({cup.seconds_of(nu):.0f} s)"
            for cup in CUPS.values()
            if cup.name.startswith("iso") and cup.nu(cup.shortest_s) <= nu <= cup.nu(cup.longest_s)
        ]
        return told + (f"; this oil, at about {nu:.0f} mm2/s, fits {' or '.join(fits)}" if fits else "")

    def seconds_of(self, nu_mm2_s: float) -> float:
        """Flow time in s of a viscosity: the formula's inverse."""
        first = nu_mm2_s / self.slope + self.lead_s
        return 0.5 * (first + (first * first + 4.0 * self.loss / self.slope) ** 0.5) if self.loss else first


# Repeat and accuracy: ISO and DIN from memory; Zahn from ASTM D4212 as quoted on a web page, 11 % for one hand and 33 % between
# laboratories; Ford: as far as two published tables differ; Shell by judgement.
_ROWS = (
    ("iso3", 0.443, 0.0, 200.0, 30.0, 100.0, 0.05, 0.05, _ISO),
    ("iso4", 1.37, 0.0, 200.0, 30.0, 100.0, 0.05, 0.05, _ISO),
    ("iso5", 3.28, 0.0, 220.0, 30.0, 100.0, 0.05, 0.05, _ISO),
    ("iso6", 6.90, 0.0, 570.0, 30.0, 100.0, 0.05, 0.05, _ISO),
    ("din4", 4.57, 0.0, 452.0, 25.0, 150.0, 0.05, 0.05, _OLD),
    ("ford1", 0.49, 35.0, 0.0, 55.0, 100.0, 0.10, 0.12, _FORD_READ),
    ("ford2", 1.44, 18.0, 0.0, 40.0, 100.0, 0.10, 0.12, _FORD_READ),
    ("ford3", 2.31, 6.58, 0.0, 20.0, 100.0, 0.10, 0.12, _FORD),
    ("ford4", 3.85, 4.49, 0.0, 20.0, 100.0, 0.10, 0.12, _FORD),
    ("ford5", 12.1, 2.0, 0.0, 20.0, 100.0, 0.10, 0.12, _FORD),
    ("zahn1", 1.1, 29.0, 0.0, 35.0, 80.0, 0.11, 0.33, _DIP),
    ("zahn2", 3.5, 14.0, 0.0, 20.0, 80.0, 0.11, 0.33, _DIP),
    ("zahn3", 11.7, 7.5, 0.0, 20.0, 80.0, 0.11, 0.33, _DIP),
    ("shell2", 0.576, 5.0, 0.0, 20.0, 80.0, 0.10, 0.10, _DIP),
    ("shell3", 1.51, 2.0, 0.0, 20.0, 80.0, 0.10, 0.10, _DIP),
)
CUPS: dict[str, Cup] = {row[0]: Cup(*row) for row in _ROWS}


def cup_named(name: str) -> Cup:
    """The cup of this name, capitals and spaces not minded. Raises InputError."""
    cup = CUPS.get(name.lower().replace(" ", ""))
    if cup is None:
        raise InputError("cup", name, "one of " + ", ".join(CUPS))
    return cup


def spread(values: Sequence[float]) -> float:
    """Largest less smallest, over the mean."""
    return (max(values) - min(values)) * len(values) / sum(values)

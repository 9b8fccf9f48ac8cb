"""What a report is made from: one drive as plain data, for the simulator, a replay and a board's log to fill."""

from dataclasses import dataclass, field
from typing import Any

Bar = tuple[float, float, str, int, str]
"""One stretch in a strip: from (s), to (s), name, severity 0 (information) to 3 (grave), text for people."""

STRIPS = ("state", "messages", "faults", "hazards")


@dataclass
class DriveRecord:
    """One drive. A key that is missing, or whose value is None, is shown as "not in log", never as zero.

    summary: `verdict` ("no hazard", "hazard", "not valid", or "replayed" with its line in `said`), `title`, `hazards` (list
        of id, name, time_s, value, limit, unit, told), `time_on_oil_s`, `time_on_oil_ideal_s`, `use_share` (0..1), `false_forced_exits`,
        `transitions` (list of time_s, from, to, reason, text, numbers as name -> value with unit), `litres`
        (diesel_burnt, oil_burnt, oil_into_diesel_tank, diesel_into_oil_tank), `balance` (volume and energy,
        relative error), `seed`, `settings_hash`, `firmware_hash`, `version`, `notes` (sentences; with "not valid"
        they say why), `interrupted`, and `oil_in_lines` (what the board's record says at the end). Further keys are
        listed in the fold.
    settings: every setting of the law by value, in the law's integer units.
    series: `t_s` (rising, s since start) and any of the names in `secondtank.report.panels`, each as long as `t_s`,
        None where there is no value.
    thresholds: the lines to compare with: oil_entry_c, oil_exit_c, coolant_entry_c, suction_block_kpa,
        suction_force_kpa, h1_mm2_s, h4_kpa, fill_target_ml, purge_target_ml.
    strips: what stood when, under the names in STRIPS.
    events: what happened besides the transitions: time_s, kind, text, reason, numbers.
    """

    summary: dict[str, Any]
    settings: dict[str, int] = field(default_factory=dict)
    series: dict[str, list[float | None]] = field(default_factory=dict)
    thresholds: dict[str, float] = field(default_factory=dict)
    strips: dict[str, list[Bar]] = field(default_factory=dict)
    events: list[dict[str, Any]] = field(default_factory=list)

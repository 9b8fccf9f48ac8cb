"""Volumes in the lines: what may have arrived, at the highest flow; what is surely purged, at the lowest."""

from changeover.settings import flow_low_ul_s, purge_ul

_LONGEST_MS, _WATCHDOG_MS = 1000, 2000


class Lines:
    """`fill_ul` errs high, `credit_ul` errs low; both saturate at their targets, 0 .. 18 000 000 uL."""

    def __init__(self, values: dict[str, int]) -> None:
        self.fill_target_ul = values["path_ul"] // 2  # a laminar front arrives after half a path volume
        self.purge_target_ul = purge_ul(values)
        self._flow_low_ul_s = flow_low_ul_s(values)
        self._flow_max_ul_s = values["flow_max_ul_s"]
        self.fill_ul = 0
        self.credit_ul = 0

    def begin_fill(self) -> None:
        """The supply valve is about to open to oil."""
        self.fill_ul = 0
        self.credit_ul = 0

    def begin_purge(self) -> None:
        """Diesel is about to push the oil out; nothing is credited yet."""
        self.credit_ul = 0

    def fill(self, dt_ms: int) -> bool:
        """`dt_ms` (0 .. 1000) more of filling; true once oil may be at the return valve. Worst: 60 000 * 2000 + 999."""
        if dt_ms >= _LONGEST_MS:
            dt_ms = _WATCHDOG_MS  # cut to the longest that is counted; it may have been this long
        if self.fill_ul < self.fill_target_ul:
            self.fill_ul = min(self.fill_target_ul, self.fill_ul + (self._flow_max_ul_s * dt_ms + 999) // 1000)
        return self.fill_ul >= self.fill_target_ul

    def purge(self, dt_ms: int) -> bool:
        """`dt_ms` more of purging with the engine running; true once the whole purge volume is credited."""
        if self.credit_ul < self.purge_target_ul:
            self.credit_ul = min(self.purge_target_ul, self.credit_ul + self._flow_low_ul_s * dt_ms // 1000)
        return self.credit_ul >= self.purge_target_ul

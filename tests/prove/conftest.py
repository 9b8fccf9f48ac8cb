"""How hard the properties are searched: `quick`, the same examples in every run, or `--hypothesis-profile deep`, new ones each time."""

from hypothesis import HealthCheck, Phase, settings

_BOTH = {"deadline": None, "report_multiple_bugs": False, "suppress_health_check": [HealthCheck.too_slow]}
# Not reduced: an example is a drive of minutes, and the deep profile reduces what it finds.
settings.register_profile(
    "quick", derandomize=True, database=None, stateful_step_count=20,
    phases=[Phase.explicit, Phase.generate], **_BOTH,
)  # fmt: skip
settings.register_profile("deep", stateful_step_count=50, **_BOTH)

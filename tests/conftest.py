"""How the tests search: few examples by default and the same each time, more in CI, many and new at night.

Choose with `pytest --hypothesis-profile ci` (or `long`).
"""

from __future__ import annotations

from hypothesis import HealthCheck, settings

SLOW_MACHINE = [HealthCheck.too_slow, HealthCheck.data_too_large]

settings.register_profile(
    "default",
    deadline=None,
    max_examples=40,
    derandomize=True,
    database=None,
    suppress_health_check=SLOW_MACHINE,
)
settings.register_profile("ci", settings.get_profile("default"), max_examples=100)
settings.register_profile("long", settings.get_profile("default"), max_examples=3000, derandomize=False)
settings.load_profile("default")

"""What holds for every test: its result changes with no terminal that started it and no clock."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

from tests.running import OF_A_TERMINAL

# By itself Hypothesis lets an example fail that takes longer than 0.2 s, or data that are slow to
# make: on a busy machine either happens by chance.
settings.register_profile("no clock", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("no clock")


def pytest_configure() -> None:
    """Take the width and colours of the terminal, and this program's own settings, away."""
    for name in [name for name in os.environ if name.startswith(OF_A_TERMINAL)]:
        del os.environ[name]

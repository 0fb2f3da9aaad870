"""What holds for every test: settings of the terminal that started them change no result."""

from __future__ import annotations

import os

from tests.running import OF_A_TERMINAL


def pytest_configure() -> None:
    """Take the width and colours of the terminal, and this program's own settings, away."""
    for name in [name for name in os.environ if name.startswith(OF_A_TERMINAL)]:
        del os.environ[name]

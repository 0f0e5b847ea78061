"""Shared test configuration: hypothesis runs the same examples every time, without a clock."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads, as the command line does

settings.register_profile(
    "fixed",
    derandomize=True,
    deadline=None,
    max_examples=50,
    suppress_health_check=[HealthCheck.too_slow],  # a busy machine is no fault of the code
)
settings.load_profile("fixed")

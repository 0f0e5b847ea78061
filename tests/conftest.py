"""Shared test configuration: hypothesis runs the same examples every time, without a clock."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("fixed", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("fixed")

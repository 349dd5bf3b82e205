"""What the whole suite shares."""

from __future__ import annotations

from hypothesis import settings

# Shared machines are noisy: an example that takes long is no failure. Speed is measured in tests/benchmarks.
settings.register_profile("surefoot", deadline=None)
settings.load_profile("surefoot")

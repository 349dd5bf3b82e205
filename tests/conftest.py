"""What the whole suite shares."""

from __future__ import annotations

import os

from hypothesis import settings

# Shared machines are noisy: an example that takes long is no failure. Speed is measured in tests/benchmarks.
settings.register_profile("surefoot", deadline=None)
# In continuous integration every run tries the same examples, so that a red run is red because of the change in it.
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "surefoot")

"""How Hypothesis searches: no examples of the busy machine, and the same ones on every run of the build server."""

import os

from hypothesis import HealthCheck, settings

# The slowness of a machine is no fault of the code, so neither a deadline nor slow drawing fails a test.
settings.register_profile("desk", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("build", settings.get_profile("desk"), derandomize=True, max_examples=50, print_blob=True)
settings.load_profile("build" if os.environ.get("CI", "").lower() == "true" else "desk")

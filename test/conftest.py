"""What all tests share: property tests try the same examples each time, so that none is flaky.

``HYPOTHESIS_PROFILE=search`` lets them search for new ones.
"""

import os

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))

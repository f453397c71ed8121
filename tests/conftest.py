"""Settings of all tests: no test asserts a time, so that hypothesis has no deadline either.

`HYPOTHESIS_PROFILE=quick pytest` finds failing cases without making them smaller, for work on many at once.

Nobody's own settings reach a test.
"""

import os
from pathlib import Path

from hypothesis import Phase, settings

settings.register_profile("untimed", deadline=None)
settings.register_profile("quick", deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "untimed"))
os.environ["SPLICE_ASSISTANT_SETTINGS"] = str(Path(__file__).parent / "data" / "no_settings.toml")

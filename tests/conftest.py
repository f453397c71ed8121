"""Settings of all tests: no test asserts a time, so that hypothesis has no deadline either."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

"""What holds for all tests."""

from hypothesis import settings

# A busy machine is no failure: what must be fast is timed against a peer, in tests/speed.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

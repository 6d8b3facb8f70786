"""What all tests share."""

from hypothesis import settings

# The same examples at every run, and no verdict by the clock of a busy machine.
settings.register_profile("same every time", derandomize=True, deadline=None)
settings.load_profile("same every time")

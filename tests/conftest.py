"""Hypothesis for everyone: the same examples on every run, no clock. Look further with --hypothesis-profile=explore."""

from hypothesis import settings

settings.register_profile("same", deadline=None, derandomize=True, database=None, print_blob=False)
settings.register_profile("explore", deadline=None, derandomize=False, database=None, max_examples=1000, print_blob=True)
settings.load_profile("same")

"""For every test: the same hypothesis examples on every run, no clock; and never the notebook of the person who runs them.

Look further with --hypothesis-profile=explore.
"""

import os
import tempfile

from hypothesis import settings

settings.register_profile("same", deadline=None, derandomize=True, database=None, print_blob=False)
settings.register_profile("explore", deadline=None, derandomize=False, database=None, max_examples=1000, print_blob=True)
settings.load_profile("same")

# Where platformdirs looks on Linux, Windows and macOS. Set before anything of ours is imported, and inherited by subprocesses.
_HOME = tempfile.TemporaryDirectory(prefix="kerfwright-tests-")
os.environ.update(XDG_DATA_HOME=_HOME.name, LOCALAPPDATA=_HOME.name)
if os.name == "posix" and os.uname().sysname == "Darwin":
    os.environ["HOME"] = _HOME.name

#!/usr/bin/env python3
"""The developer's two verbs, with nothing but the standard library.

    python3 dev.py demo [options for `kerfwright demo`]   make the three example job folders in build/demo
    python3 dev.py test [arguments for pytest]            ruff, pyright, pytest: all that a change must pass

Both make .venv beside this file the first time, with the versions pinned in constraints.txt, and use it again
until pyproject.toml or constraints.txt change. Works on Linux, macOS and Windows with Python 3.11 or later.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

OLDEST_PYTHON = (3, 11)
ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
PINS = ROOT / "constraints.txt"
BUILD_TOOLS = ("hatchling", "editables")  # installed first, so that the editable build fetches nothing unpinned
NETWORK_SIGNS = ("name resolution", "getaddrinfo", "Failed to establish", "ConnectionError", "NewConnectionError",
                 "timed out", "Network is unreachable", "ProxyError", "Retrying (")
MISSING_SIGNS = ("ResolutionImpossible", "No matching distribution", "Could not find a version")


class Stop(Exception):
    """One sentence for the person; the run ends."""


def main(arguments: list[str]) -> int:
    """Run one verb and return the exit code."""
    if sys.version_info < OLDEST_PYTHON:
        have = ".".join(str(part) for part in sys.version_info[:3])
        print(f"Kerfwright needs Python 3.11 or later and this is {have}: start dev.py with a newer Python, as in python3.12 dev.py test.",
              file=sys.stderr)
        return 2
    verb, extra = (arguments[0], arguments[1:]) if arguments else ("help", [])
    try:
        if verb == "demo":
            return demo(extra)
        if verb == "test":
            return test(extra)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return 130
    print((__doc__ or "").strip())
    if verb in ("help", "-h", "--help"):
        return 0
    print(f'\nThere is no verb "{verb}"; the verbs are demo and test.', file=sys.stderr)
    return 2


def demo(extra: list[str]) -> int:
    """Make the example job folders."""
    prepare("run")
    out = [] if any(each.split("=")[0] == "--out" for each in extra) else ["--out", str(Path("build") / "demo")]
    return run([str(PYTHON), "-m", "kerfwright.app.cli", "demo", *out, *extra]).returncode


def test(extra: list[str]) -> int:
    """Run every check, the quick ones first; stop at the first that fails."""
    prepare("test")
    # As root on Debian this brings the PostgreSQL server that the notebook's tests start; elsewhere they use the one
    # that is there, or skip and say so.
    run([str(PYTHON), "tests/postgres_server.py"])
    stages = {
        "ruff": ["ruff", "check", "--quiet", "."],
        "pyright": ["pyright", "--pythonpath", str(PYTHON)],
        "pytest": ["pytest", "--numprocesses=auto", "--dist=loadfile", *extra],
    }
    began = time.monotonic()
    for name, words in stages.items():
        print(f"{name} ...", flush=True)
        start = time.monotonic()
        # pytest talks while it works; the others only matter when they object
        done = run([str(PYTHON), "-m", *words], quiet=name != "pytest")
        spent = f"{time.monotonic() - start:.1f} s"
        if done.returncode != 0:
            if done.stdout:
                print(done.stdout.rstrip())
            print(f"{name} FAILED after {spent}", flush=True)
            return done.returncode
        print(f"{name} passed in {spent}", flush=True)
    print(f"all checks passed in {time.monotonic() - began:.1f} s")
    return 0


def prepare(need: str) -> None:
    """Have .venv hold the package and what ``need`` ("run" or "test") asks for."""
    digest = wanted_digest()
    if venv_works() and digest in (stamp(need), stamp("test")):
        return
    if not venv_works():
        make_venv()
    for each in ("run", "test"):
        stamp_file(each).unlink(missing_ok=True)
    install([*BUILD_TOOLS], "the build tools")
    wanted = ".[test]" if need == "test" else "."
    install(["--no-build-isolation", "--editable", wanted], "Kerfwright and the packages it needs")
    stamp_file(need).write_text(digest, encoding="utf-8")


def wanted_digest() -> str:
    """Changes when anything that decides about the environment changes."""
    whole = hashlib.sha256()
    for path in (ROOT / "pyproject.toml", PINS):
        whole.update(path.read_bytes())
    whole.update(str(ROOT).encode())  # an editable install points at this folder
    return whole.hexdigest()


def stamp_file(need: str) -> Path:
    """Where the digest of the last good install stands."""
    return VENV / f"kerfwright-{need}.stamp"


def stamp(need: str) -> str:
    """The digest of the last good install, or nothing."""
    try:
        return stamp_file(need).read_text(encoding="utf-8")
    except OSError:
        return ""


def venv_works() -> bool:
    """True when .venv holds a Python that runs and is new enough (it may have been moved or its base removed)."""
    if not PYTHON.exists():
        return False
    ask = f"import sys, pip; sys.exit(sys.version_info < {OLDEST_PYTHON})"
    try:
        return run([str(PYTHON), "-c", ask], quiet=True).returncode == 0
    except Stop:
        return False


def make_venv() -> None:
    """A fresh .venv."""
    print("making .venv (the first time takes a minute or two) ...", flush=True)
    made = run([sys.executable, "-m", "venv", "--clear", str(VENV)], quiet=True)
    if made.returncode != 0:
        shutil.rmtree(VENV, ignore_errors=True)
        if "ensurepip" in made.stdout or "No module named venv" in made.stdout:
            raise Stop("This Python cannot make a virtual environment: install its venv module "
                       "(the package python3-venv on Debian and Ubuntu) and run the command again.")
        raise Stop(f"The folder .venv could not be made: {last_line(made.stdout)}")


def install(words: list[str], what: str) -> None:
    """Let pip install, showing each package's name as it comes; one sentence when it cannot."""
    print(f"installing {what} ...", flush=True)
    command = [str(PYTHON), "-m", "pip", "install", "--no-input", "--disable-pip-version-check", "--constraint", str(PINS), *words]
    heard: list[str] = []
    with subprocess.Popen(command, cwd=ROOT, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                          text=True, encoding="utf-8", errors="replace") as pip:
        for line in pip.stdout or ():
            heard.append(line.rstrip())
            if line.startswith("Collecting "):
                print(f"  {line.split()[1].split('=')[0].split('<')[0].split('>')[0]}", flush=True)
    if pip.returncode != 0:
        text = "\n".join(heard)
        if any(sign in text for sign in NETWORK_SIGNS):
            raise Stop("The package index cannot be reached: check the network (or the proxy settings of pip) and run the command again.")
        if any(sign in text for sign in MISSING_SIGNS):
            raise Stop(f"The package index did not offer {what} in the pinned versions: check the network, pip's proxy settings "
                       "and that a local mirror is up to date, then run the command again.")
        if "No space left" in text:
            raise Stop("The disk is full: free about one gigabyte and run the command again.")
        raise Stop(f"pip could not install {what}: {last_line(text)}")


def last_line(text: str) -> str:
    """The last line that says something, with pip's and Python's own prefixes left in."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    errors = [line for line in lines if line.startswith("ERROR")]
    return (errors or lines or ["no reason was given"])[-1]


def environment() -> dict[str, str]:
    """The person's environment, with the tools told not to look for newer releases of themselves."""
    kept = {name: value for name, value in os.environ.items() if name not in ("PYTHONHOME", "PYTHONPATH", "PYRIGHT_PYTHON_FORCE_VERSION")}
    return {**kept, "PYRIGHT_PYTHON_IGNORE_WARNINGS": "1", "PYTHONUTF8": "1"}


def run(command: list[str], quiet: bool = False) -> subprocess.CompletedProcess[str]:
    """Run in the project's folder; ``quiet`` keeps what is said (both streams, in order) in ``stdout``."""
    try:
        if quiet:
            return subprocess.run(command, cwd=ROOT, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                                  encoding="utf-8", errors="replace", check=False)
        return subprocess.run(command, cwd=ROOT, env=environment(), text=True, check=False)
    except OSError as bad:
        raise Stop(f"{command[0]} could not be started: {bad.strerror or bad}.") from bad


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Making and mending the environment in .venv; imported only when there is something to do.

What pip says in full is kept in .venv/install.log; the screen gets one short line per package.
"""

from __future__ import annotations

import contextlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import TextIO

from environment import OLDEST, ROOT, RUN, TEST, VENV, Refused, ready, stamp_path, venv_python, write_stamp


def say(text: str) -> None:
    print("environment: " + text, file=sys.stderr, flush=True)


def install(kind: str) -> None:
    """Make the environment hold what `kind` needs. Raises `Refused` with words for the user."""
    try:
        with _alone() as lock:
            if ready(kind):  # another process made it while this one waited
                return
            interrupted = bool(lock.read())  # the lock file says "installing" as long as someone is, or was
            lock.write("installing\n")
            lock.flush()
            try:
                _make(kind, interrupted)
            except Refused:  # told and over: what was there before is still whole
                lock.truncate(0)
                raise
            lock.truncate(0)
    except KeyboardInterrupt:
        raise Refused("stopped before the environment was ready; the next start begins it anew.") from None
    except OSError as error:
        raise Refused(f"the environment in {VENV} cannot be written: {error}") from None


def _make(kind: str, interrupted: bool) -> None:
    began = time.monotonic()
    if interrupted:
        say("an earlier install was interrupted; starting afresh")
        shutil.rmtree(VENV, ignore_errors=True)
    for name in (RUN, TEST):
        with contextlib.suppress(FileNotFoundError):
            os.remove(stamp_path(name))
    if _usable():
        say("what it needs has changed; bringing .venv up to date")
    else:
        say(f"making .venv with Python {sys.version.split()[0]} (only the first time; a minute or two)")
        _create()
    wanted = ROOT + "[test]" if kind == TEST else ROOT
    say("installing what the tests need" if kind == TEST else "installing what the command needs")
    code = _pip(["install", "--editable", wanted])
    if code != 0:
        raise Refused(f"the install failed (pip ended with {code}). Its last lines:\n{_last_lines()}")
    write_stamp(kind)
    say(f"ready in {time.monotonic() - began:.0f} s")


def _usable() -> bool:
    """Whether .venv holds a working Python that is recent enough (a moved or upgraded one may not be)."""
    probe = f"import sys; sys.exit(sys.version_info[:2] < {OLDEST!r} or sys.prefix == sys.base_prefix)"
    try:
        return subprocess.run([venv_python(), "-c", probe], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def _create() -> None:
    if importlib.util.find_spec("venv") is None:
        raise Refused("this Python has no `venv` module; install your system's python3-venv package and run again.")
    own_pip = importlib.util.find_spec("ensurepip") is not None
    if not own_pip and importlib.util.find_spec("pip") is None:
        raise Refused("this Python has neither `ensurepip` nor `pip`; install your system's python3-venv package.")
    command = [sys.executable, "-m", "venv", "--clear", VENV]
    if not own_pip:
        say("this Python cannot put pip into an environment; using the pip outside it")
        command.insert(-1, "--without-pip")
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0 or not os.path.exists(venv_python()):
        raise Refused(f"making .venv failed:\n{(done.stdout + done.stderr).strip()}")


def _pip(arguments: list[str]) -> int:
    """Run pip for the environment: the whole of its output to the log, a line per package to the screen."""
    inside = subprocess.run([venv_python(), "-m", "pip", "--version"], capture_output=True, check=False)
    if inside.returncode == 0:
        command = [venv_python(), "-m", "pip"]
    else:
        command = [sys.executable, "-m", "pip", "--python", venv_python()]
    command += ["--disable-pip-version-check", "--no-input", *arguments]
    with open(os.path.join(VENV, "install.log"), "w", encoding="utf-8") as log:
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace", cwd=ROOT
        )
        assert process.stdout is not None
        try:
            for line in process.stdout:
                log.write(line)
                _tell(line.strip())
        except BaseException:
            process.terminate()
            process.wait()
            raise
        return process.wait()


def _tell(line: str) -> None:
    fetched = re.match(r"Collecting ([A-Za-z0-9._-]+)", line)
    if fetched:
        say(f"  fetching {fetched[1]}")
    elif line.startswith("Installing collected packages"):
        say("  unpacking")


def _last_lines(count: int = 15) -> str:
    with open(os.path.join(VENV, "install.log"), encoding="utf-8") as log:
        return "".join(log.readlines()[-count:]).rstrip()


@contextlib.contextmanager
def _alone() -> Iterator[TextIO]:
    """Hold the lock file, read from its start; the system lets go of it when this process ends, however it ends."""
    with open(VENV + ".lock", "a+", encoding="ascii") as lock:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(lock.fileno(), msvcrt.LK_LOCK, 1)
            lock.seek(0)
            yield lock
            return
        import fcntl

        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("another start is making it; waiting for that one")
            fcntl.flock(lock, fcntl.LOCK_EX)
        lock.seek(0)
        yield lock

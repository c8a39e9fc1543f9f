"""The environment in .venv that tools/run, tools/test and tools/bench share.

Standard library alone, and readable by old Pythons, so that a plain message can refuse them. A stamp in .venv
holds a hash of pyproject.toml, of the interpreter and of this folder; while it matches, nothing is done. It is
written last and dropped first, so an interrupted install is never taken for a finished one. One lock file lets
two runs start at once: the second waits for the first.
"""

from __future__ import annotations

import os
import sys

OLDEST = (3, 11)
ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VENV = os.path.join(ROOT, ".venv")
RUN, TEST = "run", "test"


class Refused(Exception):
    """The environment cannot be made; the text is for the user."""


def refuse_old_python(version: tuple[int, ...] = sys.version_info[:2]) -> None:
    """Raise `Refused` when the Python that runs this is older than the project needs."""
    if tuple(version) < OLDEST:
        import shutil

        names = [f"python3.{minor}" for minor in range(20, OLDEST[1] - 1, -1)]
        found = next((name for name in names if shutil.which(name)), None)
        hint = f"{found} is on this machine: {found} {sys.argv[0]}" if found else "install one and run again"
        raise Refused(f"Python {OLDEST[0]}.{OLDEST[1]} or later is needed; this is {version[0]}.{version[1]} ({hint}).")


def venv_python(venv: str = VENV) -> str:
    """Path of the environment's interpreter, whether it exists or not."""
    return os.path.join(venv, "Scripts", "python.exe") if os.name == "nt" else os.path.join(venv, "bin", "python")


def digest(root: str = ROOT, venv: str = VENV) -> str:
    """Hash of all that decides what is installed: pyproject.toml, the interpreter, where the checkout lies."""
    from hashlib import sha256

    said = sha256()
    for path in (os.path.join(root, "pyproject.toml"), os.path.join(venv, "pyvenv.cfg")):
        try:
            with open(path, "rb") as file:
                said.update(file.read())
        except FileNotFoundError:
            said.update(b"absent")
        said.update(b"\0")
    said.update(os.path.realpath(venv_python(venv)).encode() + b"\0" + os.path.realpath(root).encode())
    return said.hexdigest()


def stamp_path(kind: str, venv: str = VENV) -> str:
    return os.path.join(venv, ".ready-" + kind)


def ready(kind: str, root: str = ROOT, venv: str = VENV) -> bool:
    """Whether the environment already has what `kind` (RUN or TEST) needs; TEST holds all that RUN needs."""
    if not os.access(venv_python(venv), os.X_OK):
        return False
    wanted = digest(root, venv)
    for name in (RUN, TEST) if kind == RUN else (TEST,):
        try:
            with open(stamp_path(name, venv), encoding="ascii") as file:
                if file.read().strip() == wanted:
                    return True
        except (OSError, UnicodeDecodeError):
            continue
    return False


def write_stamp(kind: str, root: str = ROOT, venv: str = VENV) -> None:
    """Write the stamp in one step: a reader sees the old one, or the new one, never half of it."""
    part = stamp_path(kind, venv) + ".part"
    with open(part, "w", encoding="ascii") as file:
        file.write(digest(root, venv) + "\n")
    os.replace(part, stamp_path(kind, venv))


def environment_python(kind: str) -> str:
    """Path of a Python that has what `kind` needs, making or mending the environment if need be.

    Raises `Refused`, with words for the user, when that cannot be done.
    """
    refuse_old_python()
    if not ready(kind):
        from install import install

        install(kind)
    return venv_python()


def start(arguments: list[str]) -> int:
    """Become the command `arguments`: its signals and its exit code are the caller's own."""
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name == "nt":  # exec there starts a second process and ends this one at once
        import subprocess

        return subprocess.call(arguments)
    return os.execv(arguments[0], arguments)


def own_help(arguments: list[str], words: tuple[str, ...], text: str | None) -> bool:
    """Print a tool's header and return True when its first argument is one of `words`."""
    if arguments and arguments[0] in words:
        print((text or "").strip())
        return True
    return False

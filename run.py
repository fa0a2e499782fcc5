"""Two commands that do their own set-up: `python3 run.py demo` and `python3 run.py test`.

Needs Python 3.11 or newer and nothing else. The first call makes `.venv` beside this file from the lock
files; later calls use it again until a lock file or pyproject.toml changes. Further arguments are passed
on: to `brinemark demo`, or to pytest (then the other checks are left out, and the summary says so).
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
STAMP = ENVIRONMENT / "brinemark-environment.txt"
OLDEST_PYTHON = (3, 11)
LOCKS = {"demo": "requirements.lock", "test": "requirements-dev.lock"}
CHECKS = (
    ("ruff check", ("-m", "ruff", "check", ".")),
    ("ruff format", ("-m", "ruff", "format", "--check", ".")),
    ("import contracts", ("-c", "from importlinter.cli import lint_imports_command as lint; lint()")),
    ("mypy --strict", ("-m", "mypy", "--strict")),
)
TESTS = ("-m", "pytest", "-n", "2", "--dist", "loadfile")


class CannotSetUp(Exception):
    """The environment cannot be made; the text is one line that says what to do."""


def missing_part(version: tuple[int, int], has_module: dict[str, bool]) -> str | None:
    """One line that says what to install before an environment can be made, or None."""
    if version < OLDEST_PYTHON:
        return (
            f"Brinemark needs Python 3.11 or newer and this is {version[0]}.{version[1]}: "
            "install a newer Python and start run.py with it"
        )
    absent = " and ".join(name for name, here in has_module.items() if not here)
    if absent:
        return (
            f"this Python has no {absent}: install them (Debian and Ubuntu: the package python3-venv; "
            "elsewhere: the full Python from python.org) and try again"
        )
    return None


def fingerprint(lock: str) -> str:
    """What the environment was made from: lock, project file, Python and the place of the project."""
    digest = hashlib.sha256()
    for name in (lock, "pyproject.toml"):
        digest.update((ROOT / name).read_bytes().replace(b"\r\n", b"\n"))
    digest.update(f"{sys.version_info[:3]} {sys.prefix} {ROOT}".encode())
    return f"{lock} {digest.hexdigest()}"


def environment_program(name: str) -> Path:
    return ENVIRONMENT / (f"Scripts/{name}.exe" if os.name == "nt" else f"bin/{name}")


def environment_python() -> Path:
    return environment_program("python")


def is_ready(command: str) -> bool:
    """True when .venv was made from today's files; the test environment also serves the demo."""
    if not STAMP.is_file() or not environment_python().exists():
        return False
    wanted = {fingerprint(LOCKS["test"]), fingerprint(LOCKS[command])}
    return STAMP.read_text(encoding="utf-8").strip() in wanted


def run_step(what: str, arguments: list[str]) -> None:
    done = subprocess.run(arguments, cwd=ROOT, check=False)
    if done.returncode:
        raise CannotSetUp(f"set-up stopped: {what} failed (its own message is above)")


def make_environment(command: str) -> None:
    """Makes .venv from the lock, the package itself last; the stamp is written only when all is done."""
    modules = {name: importlib.util.find_spec(name) is not None for name in ("venv", "ensurepip")}
    missing = missing_part(sys.version_info[:2], modules)
    if missing:
        raise CannotSetUp(missing)
    print(
        f"Setting up {ENVIRONMENT.name} from {LOCKS[command]}; this is done once and takes a minute or two.", flush=True
    )
    STAMP.unlink(missing_ok=True)
    run_step("making the environment", [sys.executable, "-m", "venv", "--clear", str(ENVIRONMENT)])
    install = [str(environment_python()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    run_step("installing the libraries", [*install, "--require-hashes", "-r", LOCKS[command]])
    run_step("installing Brinemark", [*install, "--no-deps", "--no-build-isolation", "--editable", "."])
    STAMP.write_text(fingerprint(LOCKS[command]) + "\n", encoding="utf-8", newline="\n")


def demo(arguments: list[str]) -> int:
    return subprocess.run([str(environment_program("brinemark")), "demo", *arguments], check=False).returncode


def timed(name: str, arguments: tuple[str, ...]) -> tuple[str, int, float]:
    print(f"\n== {name}", flush=True)
    start = time.perf_counter()
    done = subprocess.run([str(environment_python()), *arguments], cwd=ROOT, check=False)
    return name, done.returncode, time.perf_counter() - start


def test(arguments: list[str]) -> int:
    """Every check, even after one has failed, and a summary; the first failing status is ours."""
    checks = () if arguments else CHECKS
    results = [timed(name, check) for name, check in checks]
    results.append(timed("pytest", (*TESTS, *arguments)))
    print("\n== summary")
    for name, status, seconds in results:
        print(f"{'passed' if status == 0 else 'FAILED'}  {name} ({seconds:.0f} s)")
    if arguments:
        print("left out, because arguments were given: " + ", ".join(name for name, _ in CHECKS))
    return next((status for _, status, _ in results if status), 0)


def main(arguments: list[str]) -> int:
    if not arguments or arguments[0] not in LOCKS:
        print(__doc__)
        return 0 if arguments in (["-h"], ["--help"]) else 2
    command, rest = arguments[0], arguments[1:]
    os.environ["PYTHONUTF8"] = "1"  # some checks draw boxes that a Windows code page lacks
    try:
        if not is_ready(command):
            make_environment(command)
    except CannotSetUp as reason:
        print(f"run.py: {reason}", file=sys.stderr)
        return 1
    return demo(rest) if command == "demo" else test(rest)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)

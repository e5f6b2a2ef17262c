"""Tries inputs on every reader and grammar for a while, each target in a process of its own.

The targets are those of tests/fuzz. A process that takes too much memory, or too long for one input, is
ended, and that input counts as a fault, as does one that ends the process. Printed at the end: each target,
how many inputs were tried and how many faults found; inputs that failed are kept in a folder that is told.
Exit code 0 where there was no fault, else 1.
"""

from __future__ import annotations

import argparse
import json
import re
import secrets
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
#: Inputs for which one run of the generator is asked; then it begins anew with another seed.
ROUND = 40
#: So many cheap changes of each input are tried as well.
CHEAP = 8
POLL_S = 0.2


@dataclass(slots=True)
class Outcome:
    """What trying a target brought: inputs tried, and faults with the file of the input that showed each."""

    tried: int = 0
    faults: list[tuple[str, Path]] = field(default_factory=list)


def main() -> int:
    """Try every target in turn and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--minutes", type=float, default=10.0, help="for all targets together (default 10)")
    parser.add_argument("--only", action="append", metavar="NAME", help="this target alone; may be repeated")
    parser.add_argument(
        "--memory", type=int, default=1536, metavar="MIB", help="most resident memory of a process"
    )
    parser.add_argument(
        "--longest", type=float, default=30.0, metavar="SECONDS", help="most time for one input"
    )
    parser.add_argument("--seed", type=int, help="where to begin, to repeat a run; else by chance")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="where inputs that failed are kept")
    parser.add_argument("--worker", help=argparse.SUPPRESS)
    parser.add_argument("--seconds", type=float, default=0.0, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    sys.path.insert(0, str(HERE))
    if asked.worker:
        return work(asked.worker, asked.seconds, asked.seed, asked.keep)
    from tests.fuzz.targets import TARGETS

    names = asked.only or list(TARGETS)
    if unknown := [name for name in names if name not in TARGETS]:
        parser.error(f"no target {unknown[0]}; there are {', '.join(TARGETS)}")
    keep = asked.keep or Path(tempfile.mkdtemp(prefix="clearance-fuzz-"))
    keep.mkdir(parents=True, exist_ok=True)
    seed = asked.seed if asked.seed is not None else secrets.randbelow(2**31)
    print(f"seed {seed}, {asked.minutes:g} minutes, {len(names)} targets", flush=True)
    outcomes: dict[str, Outcome] = {}
    for name in names:
        share = asked.minutes * 60 / len(names)
        outcomes[name] = _watched(name, share, seed, keep, memory=asked.memory, longest=asked.longest)
        print(
            f"{name:16} {outcomes[name].tried:>9,} tried  {len(outcomes[name].faults):>3} faults", flush=True
        )
    print(_table(outcomes))
    faults = sum(len(outcome.faults) for outcome in outcomes.values())
    if faults:
        print(f"inputs that failed, and why: {keep}")
    return 1 if faults else 0


def _table(outcomes: dict[str, Outcome]) -> str:
    lines = ["", "| target | inputs tried | faults |", "|---|---|---|"]
    lines += [f"| {name} | {o.tried:,} | {len(o.faults)} |" for name, o in outcomes.items()]
    faults = sum(len(outcome.faults) for outcome in outcomes.values())
    lines.append(f"| all | {sum(outcome.tried for outcome in outcomes.values()):,} | {faults} |")
    for name, outcome in outcomes.items():
        lines += [f"{name}: {text} ({path.name})" for text, path in outcome.faults]
    return "\n".join(lines)


# --- the process that watches ---------------------------------------------------------------------------


def _watched(name: str, seconds: float, seed: int, keep: Path, *, memory: int, longest: float) -> Outcome:
    """Let processes try the target for so long, one after another where one has to be ended."""
    outcome = Outcome()
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        with tempfile.TemporaryDirectory(prefix="clearance-fuzz-") as folder:
            now = Path(folder) / "now"
            command = [
                sys.executable,
                __file__,
                "--worker",
                name,
                "--seconds",
                f"{left:.1f}",
                "--keep",
                folder,
            ]
            with subprocess.Popen([*command, "--seed", str(seed)], cwd=HERE) as worker:
                why = _ended(worker, now, memory=memory, longest=longest)
            state = Path(folder) / "state.json"
            told = json.loads(state.read_text()) if state.exists() else {"tried": 0, "faults": []}
            outcome.tried += int(told["tried"])
            for text, file in told["faults"]:
                _keep(outcome, name, str(text), Path(folder) / str(file), keep)
            if why and now.exists():
                _keep(outcome, name, why, now, keep)
            elif why:
                raise SystemExit(f"{name}: the process ended before its first input ({why})")
        seed += 1_000_003
    return outcome


def _ended(worker: subprocess.Popen[bytes], now: Path, *, memory: int, longest: float) -> str:
    """Wait until the process is done; why it is not done well, else an empty text."""
    seen, since = 0, time.monotonic()
    while worker.poll() is None:
        time.sleep(POLL_S)
        stamp = now.stat().st_mtime_ns if now.exists() else 0
        if stamp != seen:
            seen, since = stamp, time.monotonic()
        why = ""
        # Before the first input everything is imported, which may take long on a busy machine.
        if seen and time.monotonic() - since > longest:
            why = f"took more than {longest:g} s"
        elif (resident := _resident_mib(worker.pid)) > memory:
            why = f"took {resident} MiB"
        if why:
            worker.kill()
            worker.wait()
            return why
    return "" if worker.returncode == 0 else f"ended the process ({_code(worker.returncode)})"


def _code(code: int) -> str:
    return signal.Signals(-code).name if code < 0 else f"exit code {code}"


def _resident_mib(pid: int) -> int:
    """Resident memory of a process where the system tells it (Linux), else 0."""
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0
    found = re.search(r"VmRSS:\s+(\d+) kB", status)
    return int(found[1]) >> 10 if found else 0


def _keep(outcome: Outcome, name: str, text: str, file: Path, keep: Path) -> None:
    """Note a fault with its input, once for each kind of it."""
    kind = _kind(text)
    if any(_kind(known) == kind for known, _ in outcome.faults):
        return
    target = keep / f"{name}-{len(outcome.faults) + 1}"
    target.write_bytes(file.read_bytes())
    target.with_name(f"{target.name}.why").write_text(f"{text}\n", encoding="utf-8")
    outcome.faults.append((text.split("\n", maxsplit=1)[0][:200], target))


def _kind(text: str) -> str:
    return re.sub(r"'[^']*'|\"[^\"]*\"|\d+", "", text)[:60]


# --- the process that tries -----------------------------------------------------------------------------


def work(name: str, seconds: float, seed: int, folder: Path) -> int:
    """Try inputs until the time is over; what came of it stands in ``state.json`` of the folder."""
    import faulthandler
    import random
    import resource

    from hypothesis import HealthCheck, Phase, given, settings
    from hypothesis import seed as seeded

    from tests.fuzz.mutations import varied
    from tests.fuzz.target import run
    from tests.fuzz.targets import TARGETS

    faulthandler.enable()
    # Not the memory in use but all that is asked for: a last resort for what comes between two looks.
    resource.setrlimit(resource.RLIMIT_AS, (12 << 30, 12 << 30))
    target = TARGETS[name]
    inputs = target.inputs()
    scratch = folder / "files"
    scratch.mkdir()
    end = time.monotonic() + seconds
    tried, faults = 0, list[tuple[str, str]]()

    def note() -> None:
        (folder / "state.json").write_text(json.dumps({"tried": tried, "faults": faults}))

    def attempt(value: object) -> None:
        nonlocal tried
        raw = value if isinstance(value, bytes) else repr(value).encode("utf-8", "backslashreplace")
        (folder / "now").write_bytes(raw)
        tried += 1
        if tried % 50 == 0:
            note()
        try:
            run(target, value, scratch)
        except AssertionError as error:
            text = str(error) or _where(error)
            if len(faults) < 50 and all(_kind(text) != _kind(known) for known, _ in faults):
                file = f"fault-{len(faults)}"
                (folder / file).write_bytes(raw)
                faults.append((text, file))
                note()

    while time.monotonic() < end:
        seed += 1
        chance = random.Random(seed)

        @seeded(seed)
        @settings(
            max_examples=ROUND,
            database=None,
            deadline=None,
            derandomize=False,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(inputs)
        def round_of_inputs(value: object) -> None:
            attempt(value)
            for _ in range(CHEAP):
                attempt(varied(value, chance))  # noqa: B023, called within its own round

        round_of_inputs()
        note()
    return 0


def _where(error: BaseException) -> str:
    """The line of the check that failed."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    if trace is None:
        return "an assertion of the check failed"
    import linecache

    line = linecache.getline(trace.tb_frame.f_code.co_filename, trace.tb_lineno).strip()
    return f"failed: {line}"


if __name__ == "__main__":
    sys.exit(main())

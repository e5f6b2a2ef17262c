"""Many drives at once over a server of its own on the loopback: how long each waits, and what fails.

Run: .venv/bin/python scripts/load.py ROADS FROM TO [--at-once 50] [--each 4]

Bounded in number and time; sends nothing anywhere but to 127.0.0.1.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import threading
import time
import urllib.request


def main() -> None:
    """Start the server, ask, print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("roads")
    parser.add_argument("start")
    parser.add_argument("end")
    parser.add_argument("--at-once", type=int, default=50)
    parser.add_argument("--each", type=int, default=4)
    given = parser.parse_args()
    server = subprocess.Popen(
        [sys.executable, "-m", "clearance", "serve", given.roads, "--port", "0", "--no-records"],
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        said = server.stderr.readline()
        address = said.split()[1].rstrip("/")
        body = json.dumps({"from": given.start, "to": given.end, "coach": {"height": "13ft"}}).encode()
        ask(address, body)
        print(run(address, body, min(given.at_once, 200), min(given.each, 50)))
    finally:
        server.terminate()
        server.wait(timeout=20)


def ask(address: str, body: bytes) -> float:
    """Plan one drive; the seconds it took."""
    begun = time.perf_counter()
    request = urllib.request.Request(f"{address}/api/drive", body, {"Content-Type": "application/json"})
    with urllib.request.urlopen(request, timeout=60) as answer:
        assert json.loads(answer.read())["verdict"]
    return time.perf_counter() - begun


def run(address: str, body: bytes, at_once: int, each: int) -> str:
    """The figures of `at_once` clients that plan `each` drives one after the other."""
    took: list[float] = []
    failed: list[str] = []
    gate = threading.Barrier(at_once)

    def client() -> None:
        gate.wait()
        for _ in range(each):
            try:
                took.append(ask(address, body))
            except Exception as error:
                failed.append(f"{type(error).__name__}: {error}")

    threads = [threading.Thread(target=client) for _ in range(at_once)]
    begun = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    whole = time.perf_counter() - begun
    told = f"{at_once} at once, {each} each: {len(took)} drives in {whole:.1f} s, {len(failed)} failed"
    if took:
        ordered = sorted(took)
        told += (
            f"; {len(took) / whole:.0f} a second; waited {statistics.median(took):.2f} s in the median, "
            f"{ordered[int(0.95 * (len(ordered) - 1))]:.2f} s at 95 %, {ordered[-1]:.2f} s at most"
        )
    return "\n".join([told, *sorted(set(failed))[:5]])


if __name__ == "__main__":
    main()

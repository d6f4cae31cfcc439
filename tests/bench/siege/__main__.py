#!/usr/bin/env python3
"""Attacks on a real server, one by one, and their effect on a member.

    /usr/bin/python3 tests/bench/siege [--bin build/bin] [ATTACK...]      --list names them all

Each attack gets a server of its own on loopback, with one CPU thread for the device and a data folder that is removed
afterwards. A member has a run of 1536 beads on the device, adjusts it and reads the table of another study, at least 50
times each, and reconnects every ten times: first in quiet, then during the attack. The attack runs in a separate
process at a lower priority, because an attacker does not share the processors of the server, and makes its bare
connections from 127.0.0.2. Bounds: an attack is limited in count, and to 42 s.

The table gives, per attack: p50 and p99 of both calls during the attack (a call that failed counts with the time until
it failed); the member's bead-steps per second relative to quiet; the largest growth of resident memory; whether a new
client gets a response within 5 s after the attack, else the delay, else how the server ended; and the load average
before the attack. Where the attacker has legitimate work on the device, they have it in quiet too. --json keeps all
figures; --before FILE shows earlier ones next to these.

Targets on two idle cores: p99 of both under 500 ms, rate within 5 %, growth under 100 MB, healthy afterwards.

Needs protobuf-compiler-grpc, python3-grpcio and python3-h2 (deploy/install test), openssl and prlimit.
"""

import argparse
import datetime
import json
import multiprocessing
import os
import pathlib
import shutil
import sys
import tempfile
import threading
import time

sys.dont_write_bytecode = True
os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
os.environ.setdefault("GRPC_VERBOSITY", "NONE")

import attack  # noqa: E402
import connections  # noqa: E402, F401 (each of these registers its attacks)
import floods  # noqa: E402, F401
import member  # noqa: E402
import memory  # noqa: E402, F401
import report  # noqa: E402
import work_load  # noqa: E402, F401
from server import Server, make_stubs  # noqa: E402

PREPARE_SECONDS = 120
OUTCOME_SECONDS = 60
HEALTH_SECONDS = 15
MAX_SERVER_BYTES = 4 << 30


class MemoryWatch:
    """The largest resident memory of a server over some time; ends a server that takes too much."""

    def __init__(self, server):
        self.server, self.first = server, server.resident_bytes()
        self.largest = self.first
        self.done = threading.Event()
        self.thread = threading.Thread(target=self._watch)
        self.thread.start()

    def _watch(self):
        while not self.done.wait(0.05):
            self.largest = max(self.largest, self.server.resident_bytes())
            if self.largest > MAX_SERVER_BYTES:
                self.server.process.kill()

    def growth(self):
        self.done.set()
        self.thread.join()
        return self.largest - self.first


class Helper:
    """A process controlled over a pipe."""

    def __init__(self, context, target, *arguments):
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=target, args=(*arguments[:-1], theirs, arguments[-1]), daemon=True)
        self.process.start()
        theirs.close()

    def hear(self, seconds):
        try:
            return self.pipe.recv() if self.pipe.poll(seconds) else None
        except EOFError:
            return None

    def expect_ready(self, who):
        word = self.hear(PREPARE_SECONDS)
        if word != "ready":
            raise RuntimeError(f"{who} not ready: {word}")

    def end(self):
        self.process.kill()
        self.process.join()


def carry_out(name, server, context):
    """Measures one attack against a server that has started."""
    cls = attack.ATTACKS[name]
    helpers = []
    try:
        over = context.Event()
        helpers.append(Helper(context, member.work, server.add_user("olga"), over))
        helpers[0].expect_ready("the member")
        helpers.append(Helper(context, attack.work, cls, server.add_attacker("eve"), server.stranger(), over))
        helpers[1].expect_ready("the attack")
        over.set()  # the quiet measurement has no attack to wait for
        helpers[0].pipe.send("measure")
        quiet = helpers[0].hear(OUTCOME_SECONDS + member.MAX_SECONDS)
        over.clear()
        memory = MemoryWatch(server)
        helpers[1].pipe.send("go")
        helpers[0].pipe.send("measure")
        beside = helpers[0].hear(OUTCOME_SECONDS + member.MAX_SECONDS)
        outcome = helpers[1].hear(OUTCOME_SECONDS) or "not at its end in time"
        growth = memory.growth()
        if not isinstance(quiet, dict) or not isinstance(beside, dict):
            raise RuntimeError(f"the member failed: {quiet if not isinstance(quiet, dict) else beside}")
        return {"attack": name, "what": cls.what, "quiet": quiet, "member": beside, "outcome": outcome,
                "memory_growth": growth}
    finally:
        for helper in helpers:
            helper.end()


def besiege(name, options, work, stubs, context):
    """The result of one attack, from the start of a server to its end."""
    settings = attack.ATTACKS[name].settings
    server = Server(f"{options.bin}/gyreboxd", f"{work}/{name}", stubs, tls=settings["tls"],
                    options=(*settings["options"], *options.server_option), open_files=settings["open_files"])
    load = os.getloadavg()[0]
    try:
        server.start()
        result = carry_out(name, server, context)
        result["healthy_after"] = server.seconds_until_healthy(HEALTH_SECONDS)
        result["exit_code"] = server.exit_code()
    except Exception as error:
        result = {"attack": name, "what": attack.ATTACKS[name].what,
                  "error": f"{error} (server exit {server.exit_code() if server.process else None})"}
    finally:
        stop_code = server.stop()
    result.update(stop_code=stop_code, load=load, log=pathlib.Path(server.log).read_text()[-2000:]
                  if os.path.exists(server.log) else "")
    shutil.rmtree(f"{work}/{name}", ignore_errors=True)
    return result


def main():
    root = pathlib.Path(__file__).resolve().parents[3]
    parser = argparse.ArgumentParser(prog="tests/bench/siege", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("attacks", nargs="*", metavar="ATTACK", help="which; all of them by default")
    parser.add_argument("--bin", default=str(root / "build/bin"), help="folder that holds gyreboxd")
    parser.add_argument("--proto", default=str(root / "proto"), help="the schema that this gyreboxd speaks")
    parser.add_argument("--server-option", action="append", default=[], metavar="OPTION",
                        help="one more option for every server, as --server-option=--max-queued-runs=0")
    parser.add_argument("--json", metavar="FILE", help="keep all figures; figures of other attacks in it stay")
    parser.add_argument("--before", metavar="FILE", help="figures of an earlier siege to put beside these")
    parser.add_argument("--list", action="store_true", help="print the attacks and end")
    options = parser.parse_args()
    if options.list:
        for name, cls in attack.ATTACKS.items():
            print(f"{name:18}{cls.what}")
        return 0
    unknown = [name for name in options.attacks if name not in attack.ATTACKS]
    if unknown:
        parser.error(f"no such attack: {', '.join(unknown)}; --list prints them")

    context = multiprocessing.get_context("spawn")
    results = {}
    if options.json and os.path.exists(options.json):
        results = {r["attack"]: r for r in json.loads(pathlib.Path(options.json).read_text())["results"]}
    with tempfile.TemporaryDirectory(prefix="gyrebox_siege.") as work:
        stubs = make_stubs(options.proto, f"{work}/stubs")
        for name in options.attacks or attack.ATTACKS:
            begin = time.monotonic()
            results[name] = besiege(name, options, work, stubs, context)
            print(f"{name}: {' | '.join(report.cells(results[name]))}; {results[name].get('outcome', '')}; "
                  f"load {results[name]['load']:.1f}, {time.monotonic() - begin:.0f} s", file=sys.stderr, flush=True)
            if options.json:
                written = {"time": datetime.datetime.now().isoformat(timespec="seconds"), "processors": os.cpu_count(),
                           "results": list(results.values())}
                pathlib.Path(options.json).write_text(json.dumps(written, indent=1) + "\n")
    results = sorted(results.values(), key=lambda r: list(attack.ATTACKS).index(r["attack"]))
    before = json.loads(pathlib.Path(options.before).read_text())["results"] if options.before else None
    print(report.table(results, before), "", report.outcomes(results), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())

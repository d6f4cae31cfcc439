#!/usr/bin/env python3
"""Checks the structure of the sources: includes point downwards, and names use the project's vocabulary.

Usage: check.py ROOT. Prints each fault as file:line and ends with 1 where there is one.
"""

import pathlib
import re
import sys

SOURCES = {".h", ".cc", ".inc", ".cu", ".cuh"}

# Folders of kernels, each with those that it may include besides itself and the public headers.
KERNELS = {
    "include": set(),
    "model": set(),
    "neighbors": {"model"},
    "start": {"model", "neighbors"},
    "dynamics": {"model", "neighbors"},
    "measure": {"model", "neighbors", "dynamics"},
    "cpu": {"model", "neighbors", "start", "dynamics", "measure"},
    "cuda": {"model", "neighbors", "start", "dynamics", "measure"},
    "reference": {"model"},
    "": {"model", "neighbors", "start", "measure", "cpu", "cuda"},
}
# Folders of client.
CLIENT = {
    "lib": set(),
    "output": {"lib"},
    "report": {"lib", "output"},
    "commands": {"lib", "output", "report", "discovery"},
}

# Words that were replaced, as parts of names of files, types and the schema: old word -> new word.
VOCABULARY = {
    "album": "selector", "alarm": "warning", "boarded": "active", "boil": "summarize", "deck": "manager",
    "gate": "authenticator", "hurry": "stop_retrying", "keeper": "retention_worker", "leg": "step_batch",
    "letter": "command", "lone": "serial", "looker": "frame_source", "mailbox": "command_queue", "most": "max",
    "people": "users", "person": "user", "photograph": "probe", "place": "position", "rooms": "server_context",
    "scene": "watched_run", "share": "fraction", "sixfold": "hexatic", "swirl": "transverse_coupling",
    "wiped": "erased",
}
# A user's share of the queue is a term of the trade.
ALLOWED = {"fair_share_test", "FairShareTest", "UserShare", "shares", "share", "at_most", "at_most_reason"}


def words(name):
    """Words of a name in snake_case or CamelCase, in lower case."""
    return [word.lower() for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)]


def rooms_of_server(root):
    """Rooms of server/CMakeLists.txt, each with the rooms that it links, directly or not."""
    text = (root / "server/CMakeLists.txt").read_text()
    links = {}
    for room, body in re.findall(r"^gyrebox_room\((\w+)\n?(.*?)\)$", text, re.S | re.M):
        links[room] = set(re.findall(r"gyrebox_(\w+)", body))
    for _ in links:
        for room in links:
            links[room] |= set().union(*(links.get(other, set()) for other in links[room]))
    return {room: below & links.keys() for room, below in links.items()}


def includes(path):
    """(line, path as included) of the project's own headers."""
    for number, line in enumerate(path.read_text().splitlines(), 1):
        found = re.match(r'#include "([^"]+)"', line)
        if found:
            yield number, found.group(1)


def check_room(root, folder, room, allowed, known, faults):
    """Faults of the files below folder, that may include room and allowed out of known."""
    for path in sorted(folder):
        for number, included in includes(path):
            other = included.split("/")[0]
            if other in known and other != room and other not in allowed:
                faults.append(f"{path.relative_to(root)}:{number}: {room or 'the top'} includes {included}; "
                              f"it may include {', '.join(sorted(allowed)) or 'no other room'}")


def sources(folder, deep=True):
    pattern = folder.rglob("*") if deep else folder.glob("*")
    return [path for path in pattern if path.suffix in SOURCES]


def check_includes(root):
    faults = []
    server = rooms_of_server(root)
    everything = server.keys() | KERNELS.keys() | CLIENT.keys()
    for room, below in server.items():
        check_room(root, sources(root / "server" / room), room, below, everything, faults)
        for other in below:
            if room in server[other]:
                faults.append(f"server/CMakeLists.txt:1: {room} and {other} link each other")
    for room, below in KERNELS.items():
        folder = root / "kernels" / room
        check_room(root, sources(folder, deep=bool(room)), room, below, everything, faults)
    for room, below in CLIENT.items():
        check_room(root, sources(root / "client" / room), room, below, everything, faults)
    return faults


def names(root):
    """(file, line, name) of files, types and the schema."""
    for folder in ("proto/gyrebox", "proto/schema", "server", "kernels", "client", "tests"):
        for path in sorted((root / folder).rglob("*")):
            if "node_modules" in path.parts or "corpus" in path.parts or not path.is_file():
                continue
            yield path, 1, path.stem
            if path.suffix in SOURCES:
                declared = r"^\s*(?:template <[^>]*> )?(?:class|struct|enum class|enum)\s+(?:alignas\(\d+\) )?(\w+)"
            elif path.suffix == ".proto":
                declared = r"^\s*(?:(?:message|enum|service|rpc|oneof)\s+|(?:optional |repeated )?[\w.]+ (?=\w+ = \d))(\w+)"
            else:
                continue
            for number, line in enumerate(path.read_text().splitlines(), 1):
                found = re.match(declared, line)
                if found:
                    yield path, number, found.group(1)


def check_names(root):
    faults = []
    for path, number, name in names(root):
        if name in ALLOWED:
            continue
        for word in words(name):
            if word in VOCABULARY:
                faults.append(f"{path.relative_to(root)}:{number}: {name}: say {VOCABULARY[word]} for {word}")
    return faults


def main():
    root = pathlib.Path(sys.argv[1]).resolve()
    faults = check_includes(root) + check_names(root)
    print("\n".join(faults) or "includes point downwards, and names use the vocabulary")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

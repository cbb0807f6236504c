"""What runs on the board's own MicroPython while it is being flashed.  Each prints one line of JSON.

The host puts a line `PLAN = {...}` in front.
"""

import json
from typing import Any, Final

# Folder of the board in which new files wait until all are there and right.
STAGING: Final = "baskline-new"
MANIFEST: Final = "baskline.json"

_DIGEST: Final = """
import hashlib, json, os
from binascii import hexlify

def digest(path):
    sha = hashlib.sha256()
    try:
        with open(path, "rb") as file:
            while True:
                piece = file.read(512)
                if not piece:
                    return hexlify(sha.digest()).decode()
                sha.update(piece)
    except OSError:
        return None
"""

LOOK: Final = (
    _DIGEST
    + """
import sys
import machine

manifest = {}
try:
    with open(PLAN["manifest"]) as file:
        manifest = json.load(file)["files"]
except (OSError, ValueError, KeyError, TypeError):
    pass

def staged(folder):
    try:
        entries = list(os.ilistdir(folder))
    except OSError:
        return 0
    paths = [(folder + "/" + entry[0], entry[1]) for entry in entries]
    return sum([staged(path) if kind == 0x4000 else os.stat(path)[6] for path, kind in paths])

paths = set(PLAN["paths"]) | set(manifest)
room = os.statvfs(".")
print(json.dumps({
    "name": sys.implementation.name,
    "version": list(sys.implementation.version[:3]),
    "machine": getattr(sys.implementation, "_machine", sys.platform),
    "unique_id": hexlify(machine.unique_id()).decode(),
    "free_bytes": room[1] * room[3] + staged(PLAN["staging"]),
    "manifest": manifest,
    "files": {path: found for path in paths for found in [digest(path)] if found},
}))
"""
)

# What a copy that was cut short has left would take room, and keep its folder from being removed.
PREPARE: Final = """
import errno, os

def clear(folder):
    try:
        entries = list(os.ilistdir(folder))
    except OSError:
        return
    for entry in entries:
        path = folder + "/" + entry[0]
        if entry[1] == 0x4000:
            clear(path)
            os.rmdir(path)
        else:
            os.remove(path)

clear(PLAN["staging"])
for folder in PLAN["folders"]:
    try:
        os.mkdir(folder)
    except OSError as error:
        if error.errno != errno.EEXIST:
            raise
"""

# Nothing is replaced until every new file is there and its hash is right.  The list of what was written comes
# last: where the power is cut before, the next look finds each file either as it was or as it shall be.
INSTALL: Final = (
    _DIGEST
    + """
staging = PLAN["staging"] + "/"
wrong = [path for path, sha in PLAN["write"].items() if digest(staging + path) != sha]
if not wrong:
    for path in PLAN["write"]:
        try:
            os.rename(staging + path, path)
        except OSError:  # a file system that does not rename over another file
            os.remove(path)
            os.rename(staging + path, path)
    for path in PLAN["remove"]:
        os.remove(path)
    with open(PLAN["manifest"] + ".new", "w") as file:
        json.dump({"files": PLAN["files"]}, file)
    try:
        os.remove(PLAN["manifest"])
    except OSError:
        pass
    os.rename(PLAN["manifest"] + ".new", PLAN["manifest"])
    for folder in reversed(PLAN["folders"]):
        if folder == PLAN["staging"] or folder.startswith(staging):
            os.rmdir(folder)
    if hasattr(os, "sync"):
        os.sync()
    wrong = [path for path, sha in PLAN["files"].items() if digest(path) != sha]
print(json.dumps({"wrong": wrong}))
"""
)

# The module of the firmware that ran before may still be loaded; the new one's rules count.
SETTINGS: Final = """
import sys, json
sys.modules.pop("settings", None)
import settings

try:
    print(json.dumps({"settings": settings.change(**PLAN)}))
except ValueError as error:
    print(json.dumps({"refused": str(error)}))
except OSError as error:
    print(json.dumps({"refused": "no room is left on it" if error.errno == 28 else repr(error)}))
"""


def planned(script: str, plan: Any) -> list[str]:
    """Return the mpremote command that runs a script with its plan."""
    return ["exec", f"PLAN = {plan!r}\n{script}"]


def answer(said: str) -> dict[str, Any] | None:
    """Return the last line of JSON that the board printed; None where there is none."""
    for line in reversed(said.splitlines()):
        if line.startswith("{"):
            try:
                found: dict[str, Any] = json.loads(line)
            except ValueError:
                return None
            return found
    return None

"""Runs on the board's interpreter: the boards' own file system, in memory, cut short or full.

On standard input the work: {"work": "cut"}, {"work": "full"}, or {"work": "install", "scripts": [before the
copy, after it], "staging": folder, "files": {path: content}, "blocks": how many are free}.
"""

import json
import os
import sys

import vfs

BLOCK = 4096
ROOT = "/flash"


class Flash:
    """Blocks that can be erased and written; with `left` of such orders, after which the power is gone."""

    def __init__(self, blocks):
        self.content = bytearray(b"\xff" * BLOCK * blocks)
        self.left = None

    def readblocks(self, block, into, offset=0):
        at = block * BLOCK + offset
        into[:] = self.content[at : at + len(into)]

    def writeblocks(self, block, data, offset):
        self._order()
        at = block * BLOCK + offset
        self.content[at : at + len(data)] = data

    def ioctl(self, order, block):
        if order == 4:
            return len(self.content) // BLOCK
        if order == 5:
            return BLOCK
        if order == 6:
            self._order()
            self.content[block * BLOCK : (block + 1) * BLOCK] = b"\xff" * BLOCK
        return 0

    def _order(self):
        if self.left is not None:
            if self.left == 0:
                raise OSError(5)
            self.left -= 1


def mount(flash):
    os.chdir("/")
    vfs.mount(vfs.VfsLfs2(flash), ROOT)
    os.chdir(ROOT)


def unmount():
    os.chdir("/")
    vfs.umount(ROOT)


def made(blocks):
    flash = Flash(blocks)
    vfs.VfsLfs2.mkfs(flash)
    mount(flash)
    return flash


def change_cut_short():
    """What the settings are after each place at which the power may go while they are changed."""
    import settings

    flash = made(16)
    settings.change(label="the old one", cadence_ms=500)
    before = bytes(flash.content)
    labels = []
    orders = 0
    whole = False
    while not whole:
        flash.content[:] = before
        flash.left = orders
        try:
            settings.change(label="the new one " * 5)
            whole = True
        except OSError:
            orders += 1
        unmount()
        flash.left = None
        mount(flash)
        chosen = settings.load()
        labels.append((chosen["label"], chosen["cadence_ms"]))
        settings.change(label="another")  # it can be changed again
        labels.append(settings.load()["label"])
    return labels


def change_when_full():
    import settings

    made(16)
    settings.change(label="the old one")
    number = 0
    try:
        while True:
            with open("somebodys_own%d" % number, "w") as file:
                file.write("x" * 3000)
            number += 1
    except OSError:
        pass
    try:
        settings.change(label="the new one " * 5)
        said = None
    except OSError as error:
        said = error.errno
    return {"said": said, "label": settings.load()["label"], "left_over": "settings.json.new" in os.listdir()}


def install(job):
    import settings

    made(job["blocks"] + 2)  # the outermost folder's own
    room = os.statvfs(ROOT)
    free_bytes = room[1] * room[3]
    try:
        exec(job["scripts"][0], {})
        for path, content in job["files"].items():
            with open(job["staging"] + "/" + path, "w") as file:
                file.write(content)
        exec(job["scripts"][1], {})
        settings.change(label="x" * 60)
    except OSError as error:
        return {"free_bytes": free_bytes, "said": error.errno}
    return {"free_bytes": free_bytes, "said": None}


job = json.load(sys.stdin)
if job["work"] == "cut":
    report = change_cut_short()
elif job["work"] == "full":
    report = change_when_full()
else:
    report = install(job)
print(json.dumps(report))

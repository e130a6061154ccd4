"""A disk that forgets: the trace of shim.c replayed, and the images that a power cut may leave.

What counts as on the disk: the bytes of a file at its last fsync or fdatasync, and the names of a
folder at the folder's last fsync. Whatever was written since may be there or not, in any order, torn
at sectors of 512 or 4,096 bytes; changes of names reach the disk in their order, but as late as they
like. A sector that was not written keeps its bytes.
"""
import os
import pathlib
import shutil
import struct
import subprocess
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
REPO = HERE.parent.parent.parent
NOW = "2031-05-26T08:00:00+00:00"


def program():
    """The program to test: MELTKIN, else a debug build."""
    if "MELTKIN" not in os.environ:
        subprocess.run(["cargo", "build", "--quiet", "--locked"], cwd=REPO, check=True)
        os.environ["MELTKIN"] = str(pathlib.Path(os.environ.get("CARGO_TARGET_DIR", REPO / "target")) / "debug/meltkin")
    return os.environ["MELTKIN"]


def shim(folder):
    out = pathlib.Path(folder) / "shim.so"
    subprocess.run(["cc", "-O1", "-shared", "-fPIC", "-o", out, HERE / "shim.c", "-ldl"], check=True)
    return str(out)


def sqlite_in(program):
    """Where SQLite's two functions that allocate stand in the program; none where its symbols are gone."""
    listed = subprocess.run(["nm", "-S", program], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True).stdout.splitlines()
    found = []
    for name in ("sqlite3MemMalloc", "sqlite3MemRealloc"):
        for at, size, _, _ in (line.split() for line in listed if line.endswith(f" {name}") and len(line.split()) == 4):
            found.append(f"{int(at, 16):x}-{int(at, 16) + int(size, 16):x}")
    return {"DISK_SQLITE": ",".join(found)} if len(found) == 2 else {}


def environment(store, **more):
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("DISK_", "MELTKIN_"))}
    home = str(pathlib.Path(store).parent)
    return kept | {"MELTKIN_STORE": str(store), "MELTKIN_NOW": NOW, "HOME": home, "XDG_DATA_HOME": home} | more


def run(store, *arguments, **more):
    return subprocess.run([program(), *arguments], env=environment(store, **more), stdin=subprocess.DEVNULL,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, errors="replace", timeout=120)


def note(trace, text):
    """A mark in the trace: what the program has acknowledged."""
    data = text.encode()
    with open(trace, "ab", buffering=0) as f:
        f.write(b"A" + struct.pack("<QQQ", 0, 0, len(data)) + data)


def records(trace):
    data = pathlib.Path(trace).read_bytes()
    at = 0
    while at < len(data):
        op, (a, b, n) = chr(data[at]), struct.unpack_from("<QQQ", data, at + 1)
        yield op, a, b, data[at + 25:at + 25 + n]
        at += 25 + n


class Disk:
    def __init__(self):
        self.files, self.pending = {}, {}       # inode -> bytes on the disk; -> what waits
        self.names, self.waiting = {}, []       # path -> inode on the disk; what waits
        self.live = {}

    def feed(self, op, a, b, data):
        if op == "C":
            path = data.decode()
            self.files[a], self.pending[a], self.live[path] = b"", [], a
            self.waiting.append((path, "C", path, a))
        elif op in "WT":
            self.pending.setdefault(a, []).append((op, b, data))
            self.files.setdefault(a, b"")
        elif op == "S":
            content = bytearray(self.files.get(a, b""))
            for one in self.pending.get(a, []):
                put(content, *one)
            self.files[a], self.pending[a] = bytes(content), []
        elif op == "D":
            folder, later = data.decode(), []
            for change in self.waiting:
                if os.path.dirname(change[0]) == folder:
                    apply(self.names, *change[1:])
                else:
                    later.append(change)
            self.waiting = later
        elif op in "URL":
            one, two = data.decode().split("\n")
            self.waiting.append((two or one, op, one, two))
            apply(self.live, op, one, two)

    def image(self, folder, rng, how):
        """Writes one image; gives a name for what it is made of."""
        names = dict(self.names)
        keep = {"nothing": 0, "everything": len(self.waiting)}.get(how, rng.randint(0, len(self.waiting)))
        for change in self.waiting[:keep]:
            apply(names, *change[1:])
        made = {}
        for path, inode in names.items():
            if path.endswith("-shm"):
                continue
            content = bytearray(self.files.get(inode, b""))
            waits = self.pending.get(inode, [])
            for i, (op, at, data) in enumerate(waits):
                if how == "nothing" or how == "last" and i < len(waits) - 1:
                    continue
                if how in ("some", "torn") and rng.random() < 0.5:
                    if how == "some" or op == "T":
                        continue
                    sector = rng.choice([512, 4096])
                    start = at
                    while start < at + len(data):
                        stop = min((start // sector + 1) * sector, at + len(data))
                        if rng.random() < 0.5:
                            put(content, "W", start, data[start - at:stop - at])
                        start = stop
                    continue
                put(content, op, at, data)
            made[os.path.basename(path)] = bytes(content)
        for name, content in made.items():
            pathlib.Path(folder, name).write_bytes(content)
        return hash(tuple(sorted(made.items())))


def put(content, op, at, data):
    if op == "T":
        del content[at:]
        content.extend(bytes(at - len(content)))
    else:
        if len(content) < at:
            content.extend(bytes(at - len(content)))
        content[at:at + len(data)] = data


def apply(names, op, one, two):
    if op == "C":
        names[one] = two
    elif op == "U":
        names.pop(one, None)
    elif one in names:
        names[two] = names[one]
        if op == "R":
            names.pop(one)


class Scratch:
    """A folder that is gone at the end."""
    def __enter__(self):
        base = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
        self.path = pathlib.Path(tempfile.mkdtemp(dir=base))
        return self.path

    def __exit__(self, *_):
        shutil.rmtree(self.path, ignore_errors=True)

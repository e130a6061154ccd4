#!/usr/bin/env python3
"""Several terminals over ssh on one store: a server of its own on the loopback address, six sessions that
write and read, three with the screens open, one of which loses its line on the way (the ssh program is
killed) and one whose session is killed at the machine.

No write and no read fails; the screens draw, go on while others write, end by their key, and end by
themselves when the line is gone; everything acknowledged is there and the file verifies. Installs
openssh-server where it is missing.
"""
import getpass
import os
import pathlib
import pty
import select
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk


def server(folder):
    """A running sshd and the words of a client that reaches it."""
    if not pathlib.Path("/usr/sbin/sshd").exists() or not shutil.which("ssh"):
        quiet = {"check": True, "stdout": subprocess.DEVNULL}
        subprocess.run(["apt-get", "update", "-qq"], **quiet)
        subprocess.run(["apt-get", "install", "-y", "-qq", "--no-install-recommends", "openssh-server", "openssh-client"], **quiet)
    os.makedirs("/run/sshd", exist_ok=True)
    for name in ("host", "own"):
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", folder / name], check=True)
    shutil.copy(folder / "own.pub", folder / "may")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = ["ListenAddress=127.0.0.1", f"Port={port}", f"HostKey={folder}/host", f"AuthorizedKeysFile={folder}/may", "StrictModes=no",
                f"PidFile={folder}/pid", "UsePAM=no", "PermitRootLogin=prohibit-password", "MaxStartups=100", "MaxSessions=100"]
    words = ["/usr/sbin/sshd", "-D", "-e", "-f", "/dev/null"]
    for one in settings:
        words += ["-o", one]
    log = open(folder / "sshd.log", "w")
    running = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True)
    for _ in range(100):
        with socket.socket() as there:
            if there.connect_ex(("127.0.0.1", port)) == 0:
                break
        time.sleep(0.05)
    client = ["ssh", "-F", "/dev/null", "-q", "-i", str(folder / "own"), "-p", str(port), "-o", "StrictHostKeyChecking=no",
              "-o", f"UserKnownHostsFile={folder}/known", "-o", "IdentitiesOnly=yes", f"{getpass.getuser()}@127.0.0.1"]
    return running, client


class Screens:
    """A terminal of this machine, with ssh in it, with the screens in that."""

    def __init__(self, client, command):
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.environ["TERM"] = "xterm-256color"
            os.execvp("ssh", [*client[:-1], "-tt", client[-1], command])
        import fcntl
        import struct
        import termios
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
        self.seen, self.code = b"", None

    def read(self, seconds):
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if select.select([self.fd], [], [], 0.1)[0]:
                try:
                    got = os.read(self.fd, 65536)
                except OSError:
                    got = b""
                if not got:
                    break
                self.seen += got
        return len(self.seen)

    def ended(self, seconds):
        until = time.monotonic() + seconds
        while self.code is None and time.monotonic() < until:
            self.read(0.1)
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.code = os.waitstatus_to_exitcode(status)
        return self.code


def inside(mark):
    """The programs of this store that run now."""
    found = []
    for p in pathlib.Path("/proc").iterdir():
        try:
            if p.name.isdigit() and mark in (p / "cmdline").read_bytes().decode(errors="replace").split("\0"):
                found.append(int(p.name))
        except OSError:
            pass
    return found


def main():
    wrong, said, reads = [], [], [0]
    with disk.Scratch() as folder:
        os.chmod(folder, 0o755)
        store = folder / "store.db"
        program = pathlib.Path(disk.program()).resolve()
        made = disk.run(store, "import", str(disk.REPO / "sample_data"))
        if made.returncode:
            sys.exit(made.stderr)
        running, client = server(folder)
        own = f"env MELTKIN_NOW={disk.NOW} HOME={folder} {program} --store {store}"
        try:
            screens = {name: Screens(client, f"{own} --as {name}") for name in ("OP-02", "OP-06", "OP-07")}
            for name, one in screens.items():
                if one.read(3) < 500:
                    wrong.append(f"the screens of {name} drew nothing: {one.seen[-300:]!r}; {(folder / 'sshd.log').read_text()[-500:]}")
            if len(inside("OP-02")) < 1:
                wrong.append("the screens do not run")
            until = time.monotonic() + 6

            def terminal(w):
                n = 0
                while time.monotonic() < until:
                    ask = f"{own} trace M31-070-1" if n % 4 == 3 else \
                        f"{own} log filter_lots filter_lot=S-{w}-{n} received_at=2031-03-30T00:00:00Z --as OP-02"
                    done = subprocess.run([*client, ask], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60)
                    if done.returncode:
                        wrong.append(f"{ask}: {done.returncode} {done.stderr}{done.stdout}")
                    elif n % 4 == 3:
                        reads[0] += 1
                    else:
                        said.append(f"S-{w}-{n}")
                    n += 1

            threads = [threading.Thread(target=terminal, args=(w,)) for w in range(6)]
            for t in threads:
                t.start()
            time.sleep(2)
            os.kill(screens["OP-06"].pid, signal.SIGKILL)       # the line is gone
            for pid in inside("OP-07"):
                if os.readlink(f"/proc/{pid}/exe") == str(program):
                    os.kill(pid, signal.SIGKILL)                 # the session is gone
            for t in threads:
                t.join()
            if screens["OP-07"].ended(10) is None:
                wrong.append("ssh goes on though its program was killed")
            os.write(screens["OP-02"].fd, b"q")
            if screens["OP-02"].ended(3) is None:
                os.write(screens["OP-02"].fd, b"\x03")
                if screens["OP-02"].ended(5) is None:
                    wrong.append(f"the screens do not end by q: {screens['OP-02'].seen[-300:]!r}")
            gone = time.monotonic() + 10
            while inside("OP-06") and time.monotonic() < gone:
                time.sleep(0.1)
            if inside("OP-06"):
                wrong.append("a program whose line is gone goes on")
            codes = screens["OP-02"].code
        finally:
            os.killpg(running.pid, signal.SIGTERM)
        verdict = disk.run(store, "verify")
        if verdict.returncode:
            wrong.append(f"verify: {verdict.stdout}{verdict.stderr}")
        db = sqlite3.connect(store)
        there = {t for (t,) in db.execute("SELECT filter_lot FROM filter_lots")}
        db.close()
        wrong += [f"{t} was acknowledged and is gone" for t in said if t not in there]
        print(f"six sessions over ssh: {len(said)} entries, {reads[0]} reads beside three open screens; the one that was told to end gave {codes}")
        if len(said) < 12 or not reads[0]:
            wrong.append("too little was done")
    print(f"{len(wrong)} failed")
    print("\n".join(w[:600] for w in wrong[:20]))
    sys.exit(1 if wrong else 0)


main()

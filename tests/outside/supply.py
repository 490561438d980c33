"""What the program is made of: its crates, their licences, and that none of them uses a network.

cargo-deny holds the tree of dependencies against `.deny.toml`; the sources of the tree, the binary's imported functions
and its system calls show that no connection is ever opened. Every check is also tried on something that it must refuse.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from pathlib import Path

import baypack

# Words by which a crate opens a connection, in code.
CONNECTS = re.compile(r"\b(TcpStream|TcpListener|UdpSocket|UnixStream|UnixListener|UnixDatagram|ToSocketAddrs|getaddrinfo)\b")
# The crates that name them, each with why nothing opens a connection.
KNOWN = {
    "libc": "declares every function of the system and calls none",
    "signal-hook": "a pair of sockets within the process, in functions that are not called",
    "url": "makes a socket's address of a URL; opens none",
}
# Functions and system calls that open one.
# Not among them: `socketpair`, `sendmsg` and `recvmsg`, by which the standard library hears of a process that it starts; they
# reach nobody without one of these.
NETWORK = ("socket", "connect", "bind", "listen", "accept", "accept4", "getaddrinfo", "gethostbyname", "sendto", "recvfrom")


def cargo(*arguments):
    """What cargo prints, without a network."""
    done = subprocess.run(["cargo", *arguments, "--offline", "--locked"], cwd=baypack.PROJECT, capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(done.stderr[:800])
    return done.stdout


def deny(configuration):
    """What cargo-deny finds against."""
    program = Path(sysconfig.get_path("scripts")) / "cargo-deny"
    command = [program, "--offline", "--locked", "--all-features", "--color", "never", "--log-level", "error", "--config", configuration]
    done = subprocess.run([*command, "check", "bans", "licenses", "sources"], cwd=baypack.PROJECT, capture_output=True, text=True)
    found = [line for line in (done.stdout + done.stderr).splitlines() if line.startswith("error")]
    return found if done.returncode == 0 or found else [f"exit status {done.returncode}: {done.stderr[:300]}"]


def refuses(rules, place):
    """Lines against which cargo-deny must find something, and what it failed to find."""
    changes = {
        "a licence that is not allowed": ('    "MIT",\n', ""),
        "a crate that is banned": ("deny = [\n", 'deny = [\n    { crate = "csv" },\n'),
        "a version that stands twice": ("skip = [\n", "skip = []\nunused = [\n"),
        "a registry that is not known": ('unknown-registry = "deny"', 'unknown-registry = "deny"\nallow-registry = []'),
    }
    found = []
    for name, (old, new) in changes.items():
        if old not in rules:
            found.append(f"{name}: {old!r} is not in the rules any more")
            continue
        other = place / "deny.toml"
        other.write_text(rules.replace(old, new, 1), encoding="utf-8")
        if not deny(other):
            found.append(f"{name} is not refused")
    return found


def run_time_crates():
    """The crates that are part of the program, by name, with their folders and features."""
    host = re.search(r"host: (\S+)", subprocess.run(["rustc", "-vV"], capture_output=True, text=True, check=True).stdout)[1]
    metadata = json.loads(cargo("metadata", "--format-version", "1", "--filter-platform", host))
    packages = {package["id"]: package for package in metadata["packages"]}
    nodes = {node["id"]: node for node in metadata["resolve"]["nodes"]}
    root = metadata["resolve"]["root"]
    reached, waiting = set(), [root]
    while waiting:
        at = waiting.pop()
        if at in reached:
            continue
        reached.add(at)
        waiting += [edge["pkg"] for edge in nodes[at]["deps"] if any(kind["kind"] is None for kind in edge["dep_kinds"])]
    return [(packages[one]["name"], Path(packages[one]["manifest_path"]).parent, nodes[one]["features"]) for one in sorted(reached - {root})]


def connecting(crates):
    """The crates whose code names what opens a connection."""
    found = set()
    for name, folder, _ in crates:
        for path in (folder / "src").rglob("*.rs"):
            code = re.sub(r"//.*", "", path.read_text(encoding="utf-8", errors="replace"))
            if CONNECTS.search(code):
                found.add(name)
                break
    return found


def imported(binary):
    """The functions that open connections and that a binary or a library asks the system for."""
    done = subprocess.run(["nm", "--dynamic", "--undefined-only", str(binary)], capture_output=True, text=True, check=True)
    names = {line.split()[-1].split("@")[0] for line in done.stdout.splitlines() if line.strip()}
    return sorted(names & set(NETWORK))


def called(command, place):
    """The system calls of a command, threads and all, that have to do with a network."""
    log = place / "calls.log"
    environment = {"PATH": os.environ.get("PATH", ""), "SOURCE_DATE_EPOCH": "1900000000"}
    subprocess.run(["strace", "-f", "-o", str(log), "-e", "trace=%network", *map(str, command)], env=environment, check=True, capture_output=True)
    return sorted({match[1] for match in re.finditer(r"^\d+ +(\w+)\(", log.read_text(encoding="utf-8", errors="replace"), re.MULTILINE)})


def main():
    options = baypack.options(__doc__)
    report = baypack.Report("supply")
    rules = baypack.PROJECT / ".deny.toml"
    # Also the crates that only other systems need: a build here does not fetch them.
    subprocess.run(["cargo", "fetch", "--locked", "--quiet"], cwd=baypack.PROJECT, check=True)
    report.check("licences, banned crates, versions and sources are as .deny.toml says", deny(rules))
    with tempfile.TemporaryDirectory(prefix="outside-") as folder:
        place = Path(folder)
        report.check("what .deny.toml forbids is refused", refuses(rules.read_text(encoding="utf-8"), place))

        crates = run_time_crates()
        named = connecting(crates)
        found = [f"{name} can open connections" for name in sorted(named - KNOWN.keys())]
        found += [f"{name} is known and names nothing any more" for name in sorted(KNOWN.keys() - named)]
        found += ["rustix has its part `net` switched on" for name, _, features in crates if name == "rustix" and "net" in features]
        report.check(f"no crate of {len(crates)} can open a connection", found)

        found = [f"the binary imports {name}" for name in imported(options.binary)]
        library = next(Path(sysconfig.get_path("platstdlib")).glob("lib-dynload/_socket*.so"), None)
        if library and not imported(library):
            found.append("a library that does import them is not seen")
        report.check("the binary imports no function that opens a connection", found)

        if not baypack.can_trace():
            report.skip("a whole run makes no system call of a network", "no program may be watched here")
            report.close()
        make = [options.binary, "make", baypack.DEMO / "day-list.csv", "--out", place / "out"]
        found = [f"the program calls {name}" for name in called(make, place)]
        if "socket" not in called([sys.executable, "-c", "import socket; socket.socket()"], place):
            found.append("a program that does call them is not seen")
        report.check("a whole run makes no system call of a network", found)
    report.close()


if __name__ == "__main__":
    if not shutil.which("cargo"):
        sys.exit("cargo is missing")
    main()

"""Install the program on a bare Debian and use it, as root and as an ordinary user, without a network.

``python -m tests.bare_debian --out FOLDER`` (as root, with the package debootstrap) makes a Debian with
nothing but python3 and python3-venv in a folder and carries the wheels of the program and its dependencies
there. It installs them offline in a path with spaces and an umlaut, in C and other locales, grades the demo,
opens a teardown and the page, uninstalls, and looks that the shop's record is still there. Takes minutes.
"""

import argparse
import os
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = "python3,python3-venv"
PLACE = "/home/bench/Werkstatt 1 für alle"
RECORD = ".local/share/wearview/record.sqlite"
# Without a network (unshare -n), as each user, in each locale; the last tells that a locale may be missing.
CASES = [("root", "C"), ("bench", "C"), ("bench", "C.UTF-8"), ("bench", "de_DE.UTF-8")]


def main() -> int:
    """Make the Debian, install, run; 1 when any command fails."""
    parser = argparse.ArgumentParser("python -m tests.bare_debian", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the Debian, kept for another run")
    parser.add_argument("--suite", default="bookworm")
    parser.add_argument("--mirror", default=[], nargs="*", help="where debootstrap fetches from")
    args = parser.parse_args()
    root: Path = args.out
    if not (root / "usr/bin/python3").exists():
        make = ["debootstrap", "--variant=minbase", f"--include={PACKAGES}", args.suite, root, *args.mirror]
        subprocess.run(make, check=True)
    absent = inside(root, "root", "C", "! command -v gcc && ! ls /usr/lib/*/libGL.so.1")
    print(f"no compiler, no libGL: {'yes' if absent else 'NO'}")
    (root / "etc" / "hosts").write_text("127.0.0.1 localhost\n")  # as Debian's installer does
    inside(root, "root", "C", "id bench || useradd --create-home bench")
    wheels = root / "wheels"
    wheels.mkdir(exist_ok=True)
    subprocess.run([sys.executable, "-m", "pip", "wheel", "-q", "-w", wheels, ROOT], check=True)
    failed = not absent
    for number, (user, locale) in enumerate(CASES):
        place = f"{PLACE} {number}"
        inside(root, "root", "C", f"mkdir -p {shlex.quote(place)} && chown bench {shlex.quote(place)}")
        for name, command in commands(place, user):
            done = inside(root, user, locale, command)
            print(f"{user}, {locale}: {name}: {'done' if done else 'FAILED'}", flush=True)
            failed |= not done
    return failed


def commands(place: str, user: str) -> list[tuple[str, str]]:
    """What is run in turn, with its name."""
    here = f"cd {shlex.quote(place)} && "
    home = "/root" if user == "root" else f"/home/{user}"
    record = f"{home}/{RECORD}"
    return [
        (
            "install offline",
            f"{here}python3 -m venv .venv && "
            ".venv/bin/pip install -q --no-index --find-links /wheels wearview",
        ),
        ("wearview demo", f"{here}.venv/bin/wearview demo && test -s wearview-demo/report.html"),
        ("a teardown", f"{here}.venv/bin/wearview teardown new 'Auftrag für $RANDOM'-$$ && test -s {record}"),
        (
            "wearview app",
            f"{here}(timeout 60 .venv/bin/wearview app --port 8599 & for n in $(seq 50); do sleep 1; "
            ".venv/bin/python -c 'import urllib.request as r; r.urlopen(\"http://localhost:8599\")' "
            "2>/dev/null && exit 0; done; exit 1)",
        ),
        (
            "uninstall leaves the record",
            f"{here}.venv/bin/pip uninstall -q -y wearview && test -s {record} && "
            "! test -e .venv/bin/wearview",
        ),
    ]


def inside(root: Path, user: str, locale: str, command: str) -> bool:
    """Run a command in the Debian, without a network but its own loopback; whether it ended with 0."""
    text = f"ip link set lo up 2>/dev/null; exec chroot {shlex.quote(str(root))} su {user} -s /bin/bash -c "
    loopback = "python3 -c 'import fcntl, socket, struct; s = socket.socket(); fcntl.ioctl(s, 0x8914, "
    loopback += 'struct.pack("16sH14x", b"lo", 1))\'; '
    text = f"{loopback} mount -t proc proc {shlex.quote(str(root / 'proc'))}; " + text
    text += shlex.quote(f"export LC_ALL={locale}; {command}")
    environment = {"PATH": os.environ["PATH"], "TERM": "dumb"}
    ran = subprocess.run(
        ["unshare", "--net", "--mount", "bash", "-c", text],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if ran.returncode:
        print(ran.stdout[-2000:], ran.stderr[-2000:], file=sys.stderr)
    return ran.returncode == 0


if __name__ == "__main__":
    sys.exit(main())

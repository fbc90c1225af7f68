"""A PostgreSQL server of the tests' own: in a temporary folder, on a socket, as no root."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DEBIAN = Path("/usr/lib/postgresql")
BESIDE = itertools.count()


def program(name: str) -> str | None:
    """Where a program of the server is; Debian does not put it on the path."""
    found = sorted(DEBIAN.glob(f"*/bin/{name}"), key=lambda p: int(p.parts[-3]))
    return str(found[-1]) if found else shutil.which(name)


@contextmanager
def server() -> Iterator[str]:
    """Start one, and end it: the address of a database, its name left open as {}."""
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    ahead: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        names = [n for n in ("postgres", "nobody") if any(u.pw_name == n for u in pwd.getpwall())]
        user = pwd.getpwnam(names[0])
        os.chown(folder, user.pw_uid, user.pw_gid)
        ahead = ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"]
    initdb, control = program("initdb"), program("pg_ctl")
    assert initdb and control
    data = folder / "data"

    def run(*words: str) -> None:
        done = subprocess.run([*ahead, *words], cwd=folder, stdin=subprocess.DEVNULL, text=True,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT)  # fmt: skip
        assert done.returncode == 0, done.stdout

    told = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off -c port=5432"
    try:
        run(initdb, "-D", str(data), "-U", "byre", "-A", "trust", "-N", "-E", "UTF8", "--locale=C")
        run(control, "-D", str(data), "-w", "-l", str(folder / "said"), "-o", told, "start")
        try:
            yield f"postgresql://byre@/{{}}?host={folder}"
        finally:
            run(control, "-D", str(data), "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def database(address: str) -> str:
    """A new, empty database of a server."""
    import psycopg

    name = f"farm{next(BESIDE)}"
    with psycopg.connect(address.format("postgres"), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE template0")  # type: ignore[arg-type]
    return address.format(name)

"""A real PostgreSQL server for the tests: made anew in a directory of its own, reached by a socket in it.

The role of the service owns nothing: the tables belong to another one, as they should.
"""

from __future__ import annotations

import atexit
import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path

OWNER, SERVICE = "fourpair_owner", "fourpair_service"
TEMPLATE = "prepared"
NAMES = itertools.count(1)


def binaries() -> Path | None:
    """Return where the programs of the server are, the newest first."""
    found = shutil.which("postgres")
    places = [Path(found).resolve().parent] if found else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((place for place in places if (place / "initdb").exists()), None)


def _user() -> str | None:
    """Return as whom the server runs: it refuses to be root."""
    if os.getuid() != 0:
        return None
    return (
        "postgres"
        if subprocess.run(["id", "postgres"], capture_output=True, check=False).returncode == 0
        else "nobody"
    )


@lru_cache(maxsize=1)
def server() -> Path:
    """Start the server of this process and return the directory of its socket; it ends with the process."""
    programs, user = binaries(), _user()
    assert programs is not None, "no PostgreSQL is installed"
    home = Path(tempfile.mkdtemp(prefix="fourpair-pg-"))
    if user is not None:
        shutil.chown(home, user)
    data = home / "data"

    def run(*command: str) -> None:
        done = subprocess.run(command, user=user, cwd=home, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    run(str(programs / "initdb"), "-D", str(data), "-A", "trust", "-U", "postgres", "-E", "UTF8", "--no-sync")
    settings = f"-c listen_addresses='' -c unix_socket_directories={home} -c max_connections=60"
    run(str(programs / "pg_ctl"), "-D", str(data), "-w", "-l", str(home / "log"), "-o", settings, "start")

    def end() -> None:
        subprocess.run(
            [str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop"],
            user=user,
            cwd="/",
            capture_output=True,
            check=False,
        )
        shutil.rmtree(home, ignore_errors=True)

    own = os.getpid()
    atexit.register(lambda: end() if os.getpid() == own else None)
    return home


def url(database: str, role: str) -> str:
    """Return the address of a database for a role."""
    return f"postgresql://{role}@/{database}?host={server()}"


def administer(*statements: str) -> None:
    """Carry out statements as the superuser."""
    import psycopg  # noqa: PLC0415 - only where there is a server

    with psycopg.connect(url("postgres", "postgres"), autocommit=True) as connection:
        for statement in statements:
            connection.execute(statement.encode())


@lru_cache(maxsize=1)
def _roles() -> None:
    administer(f"CREATE ROLE {OWNER} LOGIN", f"CREATE ROLE {SERVICE} LOGIN")


@lru_cache(maxsize=1)
def _prepared() -> str:
    from fourpair_service.storage.postgres import PostgresStore  # noqa: PLC0415
    from fourpair_service.storage.postgres_schema import grant  # noqa: PLC0415

    administer(f"CREATE DATABASE {TEMPLATE} OWNER {OWNER}")
    store = PostgresStore(url(TEMPLATE, OWNER))
    grant(store.database, SERVICE)
    store.close()
    return TEMPLATE


@contextmanager
def database(*, prepared: bool = True) -> Iterator[str]:
    """Give the name of a new database, with empty tables where it is prepared, and drop it in the end."""
    name = f"records_{next(NAMES)}"
    _roles()
    template = _prepared() if prepared else "template1"
    administer(f"CREATE DATABASE {name} TEMPLATE {template} OWNER {OWNER}")
    try:
        yield name
    finally:
        administer(f"DROP DATABASE {name} WITH (FORCE)")

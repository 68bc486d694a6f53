"""``fourpair-service grant``: what the role of the service may do in a PostgreSQL database, and no more."""

from __future__ import annotations

from argparse import Namespace, _SubParsersAction
from typing import Any

from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.storage.opening import POSTGRES


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "grant",
        help="make the tables in PostgreSQL and give a role what the service needs",
        epilog="FOURPAIR_STORE names the database by the role that owns the tables; the service then uses the other.",
    )
    parser.add_argument("role", help="what the service connects as")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Make the tables and grant the rights."""
    if not settings.store.startswith(POSTGRES):
        raise InvalidSettingError("FOURPAIR_STORE names no PostgreSQL database; grant is for those alone.")
    from fourpair_service.storage.postgres import PostgresStore  # noqa: PLC0415 - only who uses it needs psycopg
    from fourpair_service.storage.postgres_errors import plain_errors  # noqa: PLC0415
    from fourpair_service.storage.postgres_schema import grant  # noqa: PLC0415

    store = PostgresStore(settings.store)
    with plain_errors(store.path):
        grant(store.database, options.role)
    print(f"{store.path}: {options.role} may read and add, and change nothing that is append-only.")
    return 0

"""``fourpair-service keys``: API keys, shown once."""

from __future__ import annotations

import secrets
import string
from argparse import Namespace, _SubParsersAction
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.records.key_commands import KeyGrant, NewKey, make_key, revoke_key, rotate_key
from fourpair_service.records.keys import SECRET_BYTES, Scope
from fourpair_service.records.times import instant
from fourpair_service.storage.opening import IN_MEMORY, open_store

SCOPES: Final = (
    "what it may do; each by itself, so give it several times: write does not include read, admin opens all"
)
ID_LENGTH: Final = 8
ID_CHARACTERS: Final = string.ascii_letters + string.digits


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("keys", help="make, rotate, revoke and list API keys")
    actions = parser.add_subparsers(required=True, metavar="action")
    make = actions.add_parser("make", help="make a key and show it once")
    make.add_argument("name", help="whose it is, or what for")
    make.add_argument(
        "--scope", action="append", choices=[s.value for s in Scope], required=True, help=SCOPES
    )
    make.add_argument("--job", action="append", help="restrict it to this job; may be given several times")
    make.add_argument("--days", type=int, help="days until it expires; without: never")
    make.add_argument("--per-minute", type=int, help="requests a minute; without: as the service says")
    make.set_defaults(run=_make)
    rotate = actions.add_parser(
        "rotate", help="make a key that may do the same; the old one works on for a while"
    )
    rotate.add_argument("id")
    rotate.add_argument("--hours", type=int, default=24, help="hours that the old one works on")
    rotate.set_defaults(run=_rotate)
    revoke = actions.add_parser("revoke", help="close a key at once")
    revoke.add_argument("id")
    revoke.set_defaults(run=_revoke)
    listing = actions.add_parser("list", help="show what is known of every key; never the key itself")
    listing.set_defaults(run=_list)


def _new_id() -> str:
    return "".join(secrets.choice(ID_CHARACTERS) for _ in range(ID_LENGTH))


def _store(settings: Settings) -> Any:
    if settings.store == IN_MEMORY:
        raise InvalidSettingError("FOURPAIR_STORE is :memory:, which keeps no keys; give it a file.")
    return open_store(settings.store)


def _show(new: NewKey) -> int:
    print(new.text)
    print(f"This is the only time that key {new.key.id} is shown.")
    return 0


def _make(options: Namespace, settings: Settings) -> int:
    now = datetime.now(UTC)
    grant = KeyGrant(
        name=options.name,
        scopes=frozenset(Scope(scope) for scope in options.scope),
        jobs=frozenset(options.job) if options.job else None,
        expires_at=instant(now + timedelta(days=options.days)) if options.days else None,
        requests_per_minute=options.per_minute,
    )
    return _show(
        make_key(
            _store(settings),
            grant,
            key_id=_new_id(),
            randomness=secrets.token_bytes(SECRET_BYTES),
            now=instant(now),
        )
    )


def _rotate(options: Namespace, settings: Settings) -> int:
    now = datetime.now(UTC)
    return _show(
        rotate_key(
            _store(settings),
            options.id,
            key_id=_new_id(),
            randomness=secrets.token_bytes(SECRET_BYTES),
            now=instant(now),
            old_expires_at=instant(now + timedelta(hours=options.hours)),
        )
    )


def _revoke(options: Namespace, settings: Settings) -> int:
    key = revoke_key(_store(settings), options.id, now=instant(datetime.now(UTC)))
    print(f"Key {key.id} ({key.name}) opens nothing since {key.revoked_at}.")
    return 0


def _list(options: Namespace, settings: Settings) -> int:
    for key in _store(settings).api_keys():
        jobs = "all jobs" if key.jobs is None else ", ".join(sorted(key.jobs))
        state = "revoked" if key.revoked_at else f"expires {key.expires_at}" if key.expires_at else "open"
        used = f"last used {key.last_used_at}" if key.last_used_at else "never used"
        print(f"{key.id}  {key.name}  {','.join(sorted(key.scopes))}  {jobs}  {state}  {used}")
    return 0

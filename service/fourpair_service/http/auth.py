"""Who asks, and whether they may: the one place where both are decided.

Until the first key is made, whoever reaches the service may do everything; the
server then listens on loopback alone. From the first key on, every operation
needs one, and an operation that names no scope needs ``admin``.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final, TypeVar

from flask import Flask, Response, current_app, g, request
from flask_smorest import Api

from fourpair_service.http.auth_errors import KeyMissingError, RateLimitedError, ScopeMissingError
from fourpair_service.http.services import services
from fourpair_service.records.desk import Caller
from fourpair_service.records.errors import InvalidKeyError
from fourpair_service.records.keys import ApiKey, Scope, admit, parse
from fourpair_service.records.times import instant

T = TypeVar("T", bound=Callable[..., Any])

ANYONE: Final = Caller("anyone")
SCHEME: Final = "apiKey"
SCHEMES: Final = {SCHEME: {"type": "http", "scheme": "bearer", "description": "A key, fpk_..."}}

# What answers without a key: whether the service lives, and how to speak with it.
PUBLIC_BLUEPRINTS: Final = frozenset({"health", "pages"})
# Reference data tells nothing of anybody: any key will do.
BLUEPRINT_SCOPES: Final[Mapping[str, frozenset[Scope]]] = {
    "grade": frozenset({Scope.GRADE, Scope.WRITE}),
    "grade-stream": frozenset({Scope.GRADE, Scope.WRITE}),
    "what-if": frozenset({Scope.GRADE, Scope.WRITE}),
    "rule-sets": frozenset(Scope),
    "faults": frozenset(Scope),
    # Its pages name their own scopes; what is none of them tells only that.
    "office": frozenset(Scope),
}
REFUSALS: Final = {
    "401": "The service has keys and the request shows none that opens",
    "403": "The key has not the scope",
    "429": "The key asks more often than it may",
}
# What a refusal for the rate carries besides; where a key has a rate, whatever it is answered has the last two.
RATE_HEADERS: Final = {
    "Retry-After": ("Seconds until the next request may pass", "integer"),
    "RateLimit-Policy": ("How many requests (q) in how many seconds (w)", "string"),
    "RateLimit": ("How many requests are left (r), and in how many seconds all are (t)", "string"),
}
# How many uses are noted at once; a crash may lose as many, and nothing else.
NOTED_TOGETHER: Final = 100


def needs(*scopes: Scope) -> Callable[[T], T]:
    """Say of which scopes an operation needs one."""

    def mark(method: T) -> T:
        method.scopes = frozenset(scopes)  # type: ignore[attr-defined]
        return method

    return mark


def public(method: T) -> T:
    """Say that an operation answers without a key."""
    method.scopes = frozenset()  # type: ignore[attr-defined]
    return method


def scopes_of(app: Flask, endpoint: str, method: str) -> frozenset[Scope]:
    """Return the scopes of which one opens an operation; none at all for what is public."""
    blueprint = endpoint.partition(".")[0]
    if blueprint in PUBLIC_BLUEPRINTS:
        return frozenset()
    view = app.view_functions[endpoint]
    handler = getattr(getattr(view, "view_class", view), method.lower(), view)
    own: frozenset[Scope] | None = getattr(handler, "scopes", None)
    return BLUEPRINT_SCOPES.get(blueprint, frozenset({Scope.ADMIN})) if own is None else own


def describe_scopes(app: Flask, api: Api) -> None:
    """Write into the OpenAPI document what each operation needs."""
    for name, (told, kind) in RATE_HEADERS.items():
        header = {"description": told, "required": True, "schema": {"type": kind}}
        api.spec.components.header(name, header)
    paths: dict[str, dict[str, Any]] = api.spec._paths
    for rule in app.url_map.iter_rules():
        operations = paths.get(re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule), {})
        for method, operation in operations.items():
            if method.upper() not in (rule.methods or ()):
                continue
            scopes = scopes_of(app, rule.endpoint, method)
            if scopes:
                operation["security"] = [{SCHEME: []}]
                operation["x-scopes"] = sorted(str(scope) for scope in scopes)
                operation["responses"] |= {code: {"description": told} for code, told in REFUSALS.items()}
                operation["responses"]["429"]["headers"] = {
                    name: {"$ref": f"#/components/headers/{name}"} for name in RATE_HEADERS
                }


class KeyUses:
    """When keys were used, noted in the store now and then."""

    def __init__(self) -> None:
        self._used: dict[str, str] = {}
        self._count = 0
        self._lock = threading.Lock()

    def note(self, key_id: str, at: str) -> None:
        """Remember a use; every so many are written down together, and each key's first at once."""
        with self._lock:
            is_new = key_id not in self._used
            self._used[key_id] = at
            self._count += 1
            due = is_new or self._count >= NOTED_TOGETHER
            if due:
                self._count = 0
            used = list(self._used.items()) if due else []
        if used:
            services().desk.store.touch_api_keys(used)


def shown_key() -> ApiKey | None:
    """Return the key that the request shows in its Authorization header; ``None`` where it shows none.

    Raises:
        InvalidKeyError: it opens nothing.
    """
    given = request.headers.get("Authorization")
    if given is None:
        return None
    kind, _, text = given.partition(" ")
    if kind.casefold() != "bearer":
        raise InvalidKeyError("The Authorization header is none of a key: send 'Bearer fpk_...'.")
    return opening_key(text.strip())


def opening_key(text: str) -> ApiKey:
    """Return the key that a text opens the door with.

    Raises:
        InvalidKeyError: mistyped, unknown, revoked or expired.
    """
    own = services()
    key_id, secret = parse(text)
    return admit(own.desk.store.api_key(key_id), secret, instant(own.clock()))


def count_request(key: ApiKey) -> None:
    """Take a request out of what a key may ask.

    Raises:
        RateLimitedError: it asks too often.
    """
    own = services()
    per_minute = key.requests_per_minute or own.settings.requests_per_minute
    if per_minute:
        allowance = own.rate_limit.take(key.id, per_minute, own.monotonic())
        g.allowance = allowance
        if allowance.retry_after_s:
            raise RateLimitedError(per_minute, allowance.retry_after_s)


KeyFinder = Callable[[], ApiKey | None]


def guard(app: Flask, finders: Mapping[str, KeyFinder]) -> None:
    """Let every request show its key before anything else is looked at.

    Args:
        app: the application.
        finders: by blueprint, how a request shows its key where that is not the
            Authorization header. What the key may do is looked at here, for all alike.
    """

    @app.before_request
    def _admit() -> None:
        g.caller, g.key = ANYONE, None
        if request.endpoint is None:
            return
        scopes = scopes_of(current_app, request.endpoint, request.method)
        if not scopes or request.method == "OPTIONS":
            return
        own = services()
        key = finders.get(request.blueprint or "", shown_key)()
        if key is None:
            if own.desk.store.has_api_keys():
                raise KeyMissingError
            return
        own.key_uses.note(key.id, instant(own.clock()))
        g.caller, g.key, g.key_id = Caller(key.id, key.jobs), key, key.id
        if not any(key.allows(scope) for scope in scopes):
            raise ScopeMissingError(" or ".join(sorted(scopes)), ", ".join(sorted(key.scopes)))
        count_request(key)

    @app.after_request
    def _tell_rate(response: Response) -> Response:
        allowance = g.get("allowance")
        if allowance is not None:
            if response.status_code == 304:
                services().rate_limit.give_back(g.key_id)
                allowance = replace(allowance, left=allowance.left + 1)
            response.headers.update(allowance.headers())
        return response


def caller() -> Caller:
    """Return who asks."""
    found: Caller = g.caller
    return found

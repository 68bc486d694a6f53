"""What stands around every page: its language, its addresses, the menu, who is signed in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final
from urllib.parse import quote, urlencode

from flask import Response, g, request

from fourpair_service.http.office.browser import PATH, form_token
from fourpair_service.http.services import services
from fourpair_service.records.keys import ApiKey, Scope
from fourpair_service.reports.language import Language, LengthUnit, Tongue, language
from fourpair_service.reports.office.page import CONTENT_POLICY, page_html

TONGUE, UNIT = "lang", "length_unit"
NAMES_OF_TONGUES: Final = {Tongue.ENGLISH: "English", Tongue.GERMAN: "Deutsch"}
# How long a page waits for news before it asks again. [s]
WAIT_S: Final = 25

READING: Final = frozenset({Scope.READ})
GRADING: Final = frozenset({Scope.GRADE, Scope.WRITE})


@dataclass(frozen=True, slots=True)
class Place:
    """An entry of the menu."""

    path: str
    text: str
    is_here: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """Another language or unit for the same page."""

    address: str
    text: str
    tongue: str | None
    is_here: bool


def allowed(key: ApiKey | None, scopes: frozenset[Scope]) -> bool:
    """Return whether a key has one of these scopes; without keys everything is open."""
    return key is None or any(key.allows(scope) for scope in scopes)


@lru_cache(maxsize=8)
def _language(tongue: Tongue, unit: LengthUnit) -> Language:
    return language(tongue, unit)


def asked_language() -> Language:
    """Return the language that the query asks for, or else the browser; what is not known is passed over."""
    known = [str(tongue) for tongue in Tongue]
    given = request.args.get(TONGUE)
    best = given if given in known else request.accept_languages.best_match(known)
    unit = request.args.get(UNIT, "")
    return _language(
        Tongue(best or Tongue.ENGLISH), LengthUnit(unit) if unit in set(LengthUnit) else LengthUnit.METRES
    )


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands around one page.

    Attributes:
        words: its language.
        kept: what of the query goes along to every other page.
        follow: where its script asks for news; nothing where it follows nothing.
        after: up to where the feed is in the page.
    """

    words: Language
    kept: tuple[tuple[str, str], ...]
    key: ApiKey | None
    is_open: bool
    follow: str = ""
    after: int = 0
    about: Mapping[str, str] = field(default_factory=dict)

    def to(self, *parts: str, **query: object) -> str:
        """Return the address of a page, in the same language and units."""
        path = "/".join((PATH, *(quote(str(part), safe="") for part in parts if part)))
        asked = [(name, str(value)) for name, value in query.items() if value not in (None, "")]
        text = urlencode([*asked, *self.kept])
        return f"{path}?{text}" if text else path

    @property
    def form_token(self) -> str:
        """The seal of the page's forms."""
        return form_token()

    @property
    def signed_in(self) -> str | None:
        """The name of the key that the browser goes on as."""
        return self.key.name if self.key else None

    @property
    def sees_some_only(self) -> bool:
        """Whether the key is restricted to jobs."""
        return self.key is not None and self.key.jobs is not None

    @property
    def places(self) -> tuple[Place, ...]:
        """The menu: what the key may see."""
        if self.key is None and not self.is_open:
            return ()
        here = request.path
        at_grade = here == f"{PATH}/grade"
        every = (
            (READING, Place("", self.words.say("office.jobs"), here in (PATH, f"{PATH}/"))),
            (GRADING, Place("grade", self.words.say("office.grade"), at_grade)),
        )
        return tuple(place for scopes, place in every if allowed(self.key, scopes))

    @property
    def choices(self) -> tuple[Choice, ...]:
        """The other languages and units of this page."""
        own = [(n, v) for n, v in request.args.items(multi=True) if n not in (TONGUE, UNIT)]
        code, unit = self.words.code, str(self.words.length_unit)

        def address(tongue: str, length_unit: str) -> str:
            return f"{request.path}?{urlencode([*own, (TONGUE, tongue), (UNIT, length_unit)])}"

        tongues = [
            Choice(address(tongue, unit), name, str(tongue), tongue == code)
            for tongue, name in NAMES_OF_TONGUES.items()
        ]
        return (*tongues, *(Choice(address(code, str(u)), u, None, u == unit) for u in LengthUnit))


def frame(after: int | None = None, **about: str) -> Frame:
    """Return what stands around the page that was asked for.

    Args:
        after: up to where the feed is in the page; ``None`` where it follows nothing.
        about: the job or record that the page is about.
    """
    kept = tuple((name, request.args[name]) for name in (TONGUE, UNIT) if name in request.args)
    words, key = asked_language(), g.get("key")
    is_open = not services().desk.store.has_api_keys()
    plain = Frame(words, kept, key, is_open)
    if after is None:
        return plain
    return Frame(words, kept, key, is_open, plain.to("news", wait=WAIT_S, **about), after)


def shown(template: str, around: Frame, status: int = 200, **values: Any) -> Response:
    """Return a page."""
    html = page_html(template, around.words, frame=around, **values)
    response = Response(html, status=status, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = CONTENT_POLICY
    response.headers["Content-Language"] = around.words.code
    response.vary.update(("Accept-Language", "Cookie"))
    return response

"""From the file of applications to what the domain asks of it.

Every message names file, line and key, and says what to do.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Final

from fourpair_service.domain.applications.data import (
    AlienLine,
    AlienRelief,
    AlienRules,
    Application,
    ApplicationData,
    CategorySupport,
    Correction,
    Excuses,
    LengthAdvice,
    NoiseData,
    Receiver,
    Statement,
    UnjudgedApplication,
)
from fourpair_service.domain.facts import Fact
from fourpair_service.domain.limits import Basis, LimitKey
from fourpair_service.domain.link import PAIRS, Configuration
from fourpair_service.domain.parameters import Parameter
from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.limit_entries import Curves, Readings, read_curves, read_readings
from fourpair_service.rulesets.places import Confirmation, Place, lines_of

APPLICATION_FILE: Final = "applications.toml"
UNCONFIRMED: Final[Confirmation] = (None, None)
TOP_KEYS: Final = {
    "version", "excuses", "cords", "application", "unjudged", "limit", "reading_limit", "alien", "support",
    "noise",
}  # fmt: skip
APPLICATION_KEYS: Final = {
    "name", "clause", "rate_mbps", "from_mhz", "to_mhz", "pairs", "line_code", "length_m", "length_source",
    "length_basis", "reversed_pair", "crossover", "crossover_of_all", "alien",
}  # fmt: skip
EXCUSE_NUMBERS: Final = (
    "return_loss_below_loss_db", "near_end_below_loss_db", "acr_f_above_fext_db", "ps_acr_f_above_ps_fext_db",
)  # fmt: skip
RELIEF_NUMBERS: Final = ("loss_at_mhz", "full_loss_db", "full_level_db", "least_loss_db", "least_level_db")
ALIEN_KEYS: Final = {
    "categories", "categories_source", "categories_basis", "screened_source", "screened_basis", "condition",
    "condition_source", "condition_basis", "relief", "length",
}  # fmt: skip
NOISE_KEYS: Final = {
    "thermal_dbm_per_hz", "thermal_source", "thermal_basis", "uncertainty_db", "uncertainty_source",
    "method_source", "receiver",
}  # fmt: skip
CANCELLATIONS: Final = ("echo_cancellation_db", "next_cancellation_db", "fext_cancellation_db")
RECEIVER_KEYS: Final = {
    "application", "top_mhz", "signal_dbm_per_hz", "signal_source", "signal_basis", *CANCELLATIONS,
    "cancellation_source", "cancellation_basis", "alien_at_100_mhz_db", "alien_source", "alien_basis",
    "needed_snr_db", "needed_source", "needed_basis",
}  # fmt: skip


@lru_cache(maxsize=1)
def read_applications() -> ApplicationData:
    """Return the applications that come with the package."""
    text = files("fourpair_service.rulesets").joinpath("facts", APPLICATION_FILE).read_text(encoding="utf-8")
    return application_data(APPLICATION_FILE, text)


def application_data(name: str, text: str) -> ApplicationData:
    """Return the applications in a text.

    Args:
        name: of the file, for messages.
        text: TOML.

    Raises:
        InvalidRuleSetError: with file, line and key.
    """
    file = _parsed(name, text)
    file.only(TOP_KEYS)
    names = [entry.text("name") for entry in file.inners("application")]
    if not names:
        file.refuse("application", "the file needs at least one [[application]]")
    curves = read_curves(file, names, UNCONFIRMED)
    readings = read_readings(file, names, UNCONFIRMED)
    return ApplicationData(
        version=file.text("version"),
        applications=_applications(file, curves, readings),
        unjudged=tuple(_unjudged(entry) for entry in file.inners("unjudged")),
        support=tuple(_support(entry, names) for entry in file.inners("support")),
        cord_length=_cord_lengths(file.inner("cords")),
        excuses=_excuses(file.inner("excuses")),
        alien=_alien(file.inner("alien"), names),
        noise=_noise(file.inner("noise"), names),
    )


def _parsed(name: str, text: str) -> Place:
    try:
        return Place(name, lines_of(text), (), tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        line = int(found[1]) if found else text.count("\n") + 1
        raise InvalidRuleSetError(name, line, "file", f"not valid TOML: {error}; mend that line") from error


def _basis(place: Place, key: str) -> Basis:
    return Basis(place.word(key, tuple(Basis)))


def _fact(place: Place, value: str, origin: str) -> Fact:
    return Fact(place.number(value), place.text(f"{origin}_source"), _basis(place, f"{origin}_basis"))


def _statement(place: Place, text: str = "text") -> Statement:
    return Statement(place.text(text), place.text("source"), _basis(place, "basis"))


def _excuses(excuses: Place) -> Excuses:
    excuses.only({"text", *EXCUSE_NUMBERS, "source", "basis"})
    return Excuses(_statement(excuses), *(excuses.positive(key) for key in EXCUSE_NUMBERS))


def _applications(file: Place, curves: Curves, readings: Readings) -> dict[str, Application]:
    found: dict[str, Application] = {}
    for entry in file.inners("application"):
        application = _application(entry, curves, readings)
        if application.name in found:
            entry.refuse("name", f"{application.name} stands above already; remove one")
        found[application.name] = application
    return found


def _application(entry: Place, curves: Curves, readings: Readings) -> Application:
    entry.only(APPLICATION_KEYS)
    name = entry.text("name")
    low, high = entry.positive("from_mhz"), entry.positive("to_mhz")
    if low >= high:
        entry.refuse("to_mhz", f"the range {low:g} to {high:g} MHz does not increase")
    pairs = entry.words("pairs", PAIRS)
    if not pairs:
        entry.refuse("pairs", f"name at least one of {', '.join(PAIRS)}")
    limits = {limit.parameter: limit for key, limit in curves.items() if key[0] == name}
    if Parameter.INSERTION_LOSS not in limits:
        entry.refuse("", f"{name} has no limit of insertion loss; add a [[limit]] for it")
    for limit in limits.values():
        if not limit.from_mhz <= low < high <= limit.to_mhz:
            entry.refuse("to_mhz", f"the limit of {limit.parameter} does not span {low:g} to {high:g} MHz")
    skew: LimitKey = (name, Configuration.CHANNEL, Parameter.DELAY_SKEW)
    return Application(
        name=name,
        clause=entry.text("clause"),
        rate_mbps=entry.positive("rate_mbps"),
        from_mhz=low,
        to_mhz=high,
        pairs=tuple(pairs),
        line_code=entry.text("line_code"),
        length=_fact(entry, "length_m", "length"),
        limits=limits,
        skew=readings.get(skew),
        reversed_pair=Correction(entry.word("reversed_pair", tuple(Correction))),
        crossover=Correction(entry.word("crossover", tuple(Correction))),
        crossover_of_all=Correction(entry.word("crossover_of_all", tuple(Correction))),
        alien=AlienLine(entry.word("alien", tuple(AlienLine))),
    )


def _unjudged(entry: Place) -> UnjudgedApplication:
    entry.only({"name", "clause", "reason", "source", "basis"})
    return UnjudgedApplication(entry.text("name"), entry.text("clause"), _statement(entry, "reason"))


def _support(entry: Place, names: list[str]) -> CategorySupport:
    entry.only({"categories", "supported", "conditional", "source", "basis"})
    conditional: dict[str, Statement] = {}
    for inner in entry.inners("conditional"):
        inner.only({"application", "condition", "source", "basis"})
        conditional[inner.word("application", names)] = _statement(inner, "condition")
    categories = entry.texts("categories")
    if not categories:
        entry.refuse("categories", "name at least one category or class")
    return CategorySupport(
        tuple(categories),
        tuple(entry.words("supported", names)),
        conditional,
        entry.text("source"),
        _basis(entry, "basis"),
    )


def _cord_lengths(cords: Place) -> Mapping[Configuration, Fact]:
    lengths: dict[Configuration, Fact] = {}
    cords.only({Configuration.PERMANENT_LINK, Configuration.MPTL})
    for configuration in (Configuration.PERMANENT_LINK, Configuration.MPTL):
        entry = cords.inner(configuration)
        entry.only({"length_m", "source", "basis"})
        lengths[configuration] = Fact(
            entry.positive("length_m"), entry.text("source"), _basis(entry, "basis")
        )
    return lengths


def _alien(alien: Place, names: list[str]) -> AlienRules:
    alien.only(ALIEN_KEYS)
    return AlienRules(
        categories=tuple(alien.texts("categories")),
        category_origin=Statement(
            "the declared category limits alien crosstalk itself",
            alien.text("categories_source"),
            _basis(alien, "categories_basis"),
        ),
        screened=Statement(
            "the screen keeps other cables away",
            alien.text("screened_source"),
            _basis(alien, "screened_basis"),
        ),
        condition=Statement(
            alien.text("condition"), alien.text("condition_source"), _basis(alien, "condition_basis")
        ),
        relief=_relief(alien.inner("relief")),
        lengths=tuple(_length(entry, names) for entry in alien.inners("length")),
    )


def _relief(relief: Place) -> AlienRelief:
    relief.only({*RELIEF_NUMBERS, "source", "basis"})
    at, full_loss, full_level, least_loss, least_level = (relief.positive(key) for key in RELIEF_NUMBERS)
    if least_loss >= full_loss:
        relief.refuse("least_loss_db", f"{least_loss:g} dB is not below the full loss of {full_loss:g} dB")
    return AlienRelief(
        at, full_loss, full_level, least_loss, least_level, relief.text("source"), _basis(relief, "basis")
    )


def _length(entry: Place, names: list[str]) -> LengthAdvice:
    entry.only({"application", "up_to_m", "text", "source", "basis"})
    return LengthAdvice(entry.word("application", names), entry.optional_number("up_to_m"), _statement(entry))


def _noise(noise: Place, names: list[str]) -> NoiseData:
    noise.only(NOISE_KEYS)
    receivers = [_receiver(entry, names) for entry in noise.inners("receiver")]
    return NoiseData(
        _fact(noise, "thermal_dbm_per_hz", "thermal"),
        Fact(noise.positive("uncertainty_db"), noise.text("uncertainty_source"), Basis.PUBLISHED),
        noise.text("method_source"),
        {receiver.application: receiver for receiver in receivers},
    )


def _receiver(entry: Place, names: list[str]) -> Receiver:
    entry.only(RECEIVER_KEYS)
    echo, near, far = (entry.number(key) for key in CANCELLATIONS)
    alien = "alien_at_100_mhz_db"
    return Receiver(
        entry.word("application", names),
        entry.positive("top_mhz"),
        _fact(entry, "signal_dbm_per_hz", "signal"),
        echo,
        near,
        far,
        Statement(
            "cancellation of the own pairs' noise",
            entry.text("cancellation_source"),
            _basis(entry, "cancellation_basis"),
        ),
        _fact(entry, alien, "alien") if alien in entry.table else None,
        _fact(entry, "needed_snr_db", "needed"),
    )

"""What a link can carry, its power and its port, as plain text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

Document = Mapping[str, Any]
CARRIES: Final = {
    "supported": "Carries",
    "conditional": "Carries on a condition",
    "not_supported": "Does not carry",
    "not_evaluated": "Not judged",
}


def carried_text(assessment: Document) -> Iterator[str]:
    """Yield what the link can carry, its power and its port, a line each.

    Args:
        assessment: with ``applications``, ``powering`` and ``port``.
    """
    yield from _applications(assessment["applications"]["applications"])
    yield from _powering(assessment["powering"])
    port = assessment["port"]
    if port["port"] is not None:
        yield f"Port: {port['together']['text']}"
        yield from (f"  - {sentence}" for sentence in _about(port))
        yield from (f"Caution: {text}" for text in (port["poe"] or {}).get("cautions", ()))


def _applications(applications: list[Document]) -> Iterator[str]:
    for state, words in CARRIES.items():
        names = [a["application"] for a in applications if a["state"] == state]
        if names:
            yield f"{words}: {', '.join(names)}"
    for application in applications:
        if application["conditions"]:
            yield f"  {application['application']}: {application['conditions'][0]}"
    # One of them is enough: they differ in the name of the application alone.
    yield from [f"  {a['contrast']}" for a in applications if a["contrast"]][:1]
    margins = [a["noise_margin"] for a in applications if a["noise_margin"]]
    told = [margin["text"] for margin in margins if margin["missing"] is None]
    if told:
        yield f"  {told[-1]}"


def _powering(powering: Document) -> Iterator[str]:
    if powering["highest_class"] is None:
        return
    highest = next(each for each in powering["classes"] if each["class"] == powering["highest_class"])
    (*_, feed) = highest["feeds"]
    estimated = ", resistance estimated" if feed["estimated"] else ""
    yield (
        f"Power over Ethernet: every class up to {highest['class']} reaches a device; of class {highest['class']} "
        f"{feed['available_w']:.1f} W are left for its {highest['promised_w']:g} W, and to draw them costs "
        f"{feed['cable_loss_w']:.1f} W in the cable{estimated}"
    )
    uneven = [each for each in powering["unbalance"] if not each["within_limit"]]
    yield from (f"  Unequal resistance of {each['pairs']}: {each['effect']}" for each in uneven)
    yield from (f"  {each['text']}" for each in powering["heating"][:1])


def _about(port: Document) -> Iterator[str]:
    """Yield what stands behind the statement on a port: why, its levels, power, and what is odd."""
    yield from dict.fromkeys([*port["together"]["because"], *(level["text"] for level in port["levels"])])
    yield from (port["poe"] or {}).get("texts", ())
    if port["energy_efficient"]:
        yield port["energy_efficient"]["text"]
    yield from port["notes"]

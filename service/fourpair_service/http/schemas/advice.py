"""What to write instead: near misses of names and of pair keys."""

from __future__ import annotations

from collections.abc import Callable, Collection
from difflib import get_close_matches
from typing import TypeAlias

import numpy as np

Advice: TypeAlias = Callable[[str, Collection[str]], str]


def what_it_is(value: object) -> str:
    """Return the JSON name of a value's type, for a sentence.

    >>> what_it_is(None), what_it_is(True), what_it_is([])
    ('null', 'a boolean', 'a list')
    """
    if value is None:
        return "null"
    names = {
        bool: "a boolean",
        str: "text",
        int: "a number",
        float: "a number",
        list: "a list",
        np.ndarray: "a list",
        dict: "an object",
    }
    return names.get(type(value), type(value).__name__)


def name_advice(name: str, known: Collection[str]) -> str:
    """Return what to do about an unknown field name.

    >>> name_advice("lenght_m", ["length_m", "delay_ns"])
    'There is no such field; did you mean length_m?'
    """
    if not known:
        return "Nothing can be given here; leave it out."
    close = get_close_matches(name[:64].casefold(), known, n=1)
    if close:
        return f"There is no such field; did you mean {close[0]}?"
    return f"There is no such field; known here: {', '.join(known)}."


def key_advice(key: str, known: Collection[str]) -> str:
    """Return what to do about an unknown pair or combination of pairs.

    >>> key_advice("36-12", ["12-36"])
    'The order of the pairs does not matter here, one spelling is accepted: write 12-36.'
    >>> key_advice("12-36", ["12>36", "36>12"])
    'This has a direction: write 12>36 where 12 disturbs and 36 is disturbed.'
    >>> key_advice("21", ["12", "36"])
    'A pair is named by its pins in rising order: write 12.'
    """
    numbers = [part for part in key[:32].replace(">", "-").split("-") if part]
    pairs = ["".join(sorted(number)) for number in numbers]
    directed, swapped = ">".join(pairs), "-".join(sorted(pairs))
    if directed in known and len(pairs) > 1:
        return (
            f"This has a direction: write {directed} where {pairs[0]} disturbs and {pairs[1]} is disturbed."
        )
    if swapped in known and len(pairs) > 1:
        return f"The order of the pairs does not matter here, one spelling is accepted: write {swapped}."
    if "".join(pairs) in known or "".join(sorted("".join(pairs))) in known:
        return f"A pair is named by its pins in rising order: write {''.join(sorted(''.join(pairs)))}."
    return f"There is no such key; known here: {', '.join(known)}."

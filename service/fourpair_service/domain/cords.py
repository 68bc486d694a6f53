"""Cords that complete a permanent link to what equipment sees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.link import Configuration


@dataclass(frozen=True, slots=True)
class Cords:
    """Stranded cord cable at both ends of a link together.

    Attributes:
        length_m: of all cords. [m]
        stranded_factor: loss and resistance over that of horizontal cable as long.
    """

    length_m: float
    stranded_factor: float

    @property
    def equivalent_m(self) -> float:
        """The length of horizontal cable that loses as much. [m].

        >>> Cords(10.0, 1.2).equivalent_m
        12.0
        """
        return self.length_m * self.stranded_factor


NO_CORDS = Cords(0.0, 1.0)


def cords_for(
    configuration: Configuration,
    *,
    stranded_factor: float,
    default_m: Mapping[Configuration, float],
    stated_m: float | None = None,
) -> Cords:
    """Return the cords to add to a measurement: none where it spans them already.

    Args:
        configuration: what was measured.
        stranded_factor: of the edition.
        default_m: by configuration that lacks its cords, how much to add. [m]
        stated_m: what a job says, in place of the default. [m]

    >>> link = Configuration.PERMANENT_LINK
    >>> cords_for(link, stranded_factor=1.2, default_m={link: 10.0}).length_m
    10.0
    >>> cords_for(Configuration.CHANNEL, stranded_factor=1.2, default_m={link: 10.0}, stated_m=7).length_m
    0.0
    """
    if configuration not in default_m:
        return NO_CORDS
    return Cords(default_m[configuration] if stated_m is None else stated_m, stranded_factor)

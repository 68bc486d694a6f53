"""Cords that complete a permanent link to what equipment sees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.link import Configuration


@dataclass(frozen=True, slots=True)
class StatedCords:
    """The cords that a document or its job says will be used.

    Attributes:
        length_m: of all cords together. [m]
        is_solid: of solid conductors, as the cable itself, and not stranded.
    """

    length_m: float
    is_solid: bool = False


@dataclass(frozen=True, slots=True)
class Cords:
    """Cord cable at both ends of a link together.

    Attributes:
        length_m: of all cords. [m]
        stranded_factor: loss over that of horizontal cable as long, 1 for solid cords.
        is_solid: of solid conductors of the gauge of the link.
    """

    length_m: float
    stranded_factor: float
    is_solid: bool = False

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
    stated: StatedCords | None = None,
) -> Cords:
    """Return the cords to add to a measurement: none where it spans them already.

    Args:
        configuration: what was measured.
        stranded_factor: of the edition.
        default_m: by configuration that lacks its cords, how much to add. [m]
        stated: what a job says, in place of the default.

    >>> link = Configuration.PERMANENT_LINK
    >>> cords_for(link, stranded_factor=1.2, default_m={link: 10.0}).length_m
    10.0
    >>> cords_for(link, stranded_factor=1.2, default_m={link: 10.0}, stated=StatedCords(7.0, True))
    Cords(length_m=7.0, stranded_factor=1.0, is_solid=True)
    >>> cords_for(Configuration.CHANNEL, stranded_factor=1.2, default_m={link: 10.0}).length_m
    0.0
    """
    if configuration not in default_m:
        return NO_CORDS
    if stated is None:
        return Cords(default_m[configuration], stranded_factor)
    return Cords(stated.length_m, 1.0 if stated.is_solid else stranded_factor, stated.is_solid)

"""What a picture is made of. Lengths are units of the picture, y runs downwards."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from fourpair_service.reports.inks import INK

Anchor: TypeAlias = Literal["start", "middle", "end"]
Place: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Path:
    """A line through places; ``dash`` is lengths of ink and gap, empty for a solid one."""

    places: tuple[Place, ...]
    ink: str = INK
    width: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Area:
    """A filled polygon, with an edge where ``ink`` is given."""

    places: tuple[Place, ...]
    fill: str
    ink: str | None = None
    width: float = 1.0


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled circle, with an edge where ``ink`` is given."""

    x: float
    y: float
    radius: float
    fill: str
    ink: str | None = None
    width: float = 1.0


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text, ``y`` its baseline."""

    text: str
    x: float
    y: float
    size: float = 9.0
    ink: str = INK
    anchor: Anchor = "start"
    bold: bool = False


Shape: TypeAlias = Path | Area | Dot | Words


@dataclass(frozen=True, slots=True)
class Picture:
    """A whole picture.

    Attributes:
        name: a word that names it among the pictures of a sheet.
        title: what it shows, for a heading.
        description: what it says, for whoever cannot see it.
    """

    name: str
    title: str
    description: str
    width: float
    height: float
    shapes: tuple[Shape, ...]


def box(x: float, y: float, width: float, height: float) -> tuple[Place, ...]:
    """Return the corners of a rectangle."""
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def widened(picture: Picture, width: float, kept: float) -> Picture:
    """Return a picture of another width: what lies right of ``kept`` is drawn apart, words and dots keep their size.

    >>> picture = Picture("run", "", "", 10, 5, (Path(((2, 1), (8, 1))), Words("m", 1, 4)))
    >>> wide = widened(picture, 18, 2)
    >>> wide.width, wide.shapes[0].places, wide.shapes[1].x
    (18, ((2.0, 1), (14.0, 1)), 1)
    """
    factor = (width - kept) / (picture.width - kept)

    def at(x: float) -> float:
        return x if x < kept else kept + (x - kept) * factor

    def moved(shape: Shape) -> Shape:
        if isinstance(shape, Path | Area):
            return replace(shape, places=tuple((at(x), y) for x, y in shape.places))
        return replace(shape, x=at(shape.x))

    return replace(picture, width=width, shapes=tuple(moved(shape) for shape in picture.shapes))

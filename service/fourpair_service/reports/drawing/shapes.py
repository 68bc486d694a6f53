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


def stretched(
    picture: Picture, width: float, height: float, left: float, top: float, bottom: float
) -> Picture:
    """Return a picture of another size, of which only a part is drawn wider or flatter.

    Words and dots keep their size, and what lies outside of the part keeps its distance from it.

    Args:
        picture: as it was drawn.
        width: that it is to have.
        height: that it is to have.
        left: where the part begins, which reaches to the right edge.
        top: where it begins.
        bottom: where it ends.

    >>> picture = Picture("run", "", "", 10, 6, (Path(((2, 1), (8, 5))), Words("m", 1, 6)))
    >>> other = stretched(picture, 18, 4, 2, 1, 5)
    >>> other.width, other.height, other.shapes[0].places, other.shapes[1].y
    (18, 4, ((2.0, 1.0), (14.0, 3.0)), 4.0)
    """
    wider = (width - left) / (picture.width - left)
    flatter = 1 - (picture.height - height) / (bottom - top)

    def at(place: Place) -> Place:
        x, y = place
        return (
            left + (x - left) * (wider if x >= left else 1.0),
            y + (flatter - 1) * (min(max(y, top), bottom) - top),
        )

    def moved(shape: Shape) -> Shape:
        if isinstance(shape, Path | Area):
            return replace(shape, places=tuple(at(place) for place in shape.places))
        x, y = at((shape.x, shape.y))
        return replace(shape, x=x, y=y)

    return replace(
        picture, width=width, height=height, shapes=tuple(moved(shape) for shape in picture.shapes)
    )

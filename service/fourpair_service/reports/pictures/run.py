"""The run drawn to scale: the four pairs from end to end, and where something is suspected."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fourpair_service.reports.drawing.shapes import Area, Dot, Path, Picture, Place, Shape, Words, box
from fourpair_service.reports.inks import GRID, INK, MUTED, OUTSIDE, OUTSIDE_FILL, WHITE
from fourpair_service.reports.language import FEET_PER_METRE, Language, LengthUnit
from fourpair_service.reports.scales import Linear, axis_to

WIDTH: Final = 460.0
HEIGHT: Final = 104.0
LEFT: Final = 54.0
RIGHT: Final = 414.0
STRANDS: Final = 46.0
APART: Final = 10.0
AXIS: Final = 84.0
# Names of the ends: their type, the width of a bold character as a share of it, and what parts them.
NAME_TYPE: Final = 9.5
CHARACTER_SHARE: Final = 0.58
BETWEEN_NAMES: Final = 3
# Height of the row of marks, which is left out where there are none.
MARKS_HEIGHT: Final = 16.0
# Where the numbered marks stand, and what lies in the stretch below them.
MARKS: Final = 26.0
BELOW_MARKS: Final = 34.0


@dataclass(frozen=True, slots=True)
class RunEvent:
    """A place of what is suspected, from the near end. [m].

    Attributes:
        number: as in the list beside the picture.
        from_m, to_m: the stretch in which it lies.
    """

    number: int
    from_m: float
    to_m: float

    @property
    def middle_m(self) -> float:
        """Where its mark stands. [m]."""
        return (self.from_m + self.to_m) / 2


def run_picture(
    length_m: float,
    pair_length_m: Mapping[str, float],
    broken: frozenset[str],
    events: Sequence[RunEvent],
    places: tuple[str, str],
    words: Language,
) -> Picture:
    """Return the picture of a run.

    A pair that arrives is drawn to the far end, however long its twist makes it; its length stands beside it.

    Args:
        length_m: from end to end. [m]
        pair_length_m: by pair, as measured; of a broken one to where it ends. [m]
        broken: pairs that are open or shorted.
        events: what is suspected where.
        places: names of the near and the far end.
        words: the language.
    """
    factor = FEET_PER_METRE if words.length_unit is LengthUnit.FEET else 1.0
    # The scale ends where the cable does, below the name of its far end.
    axis = axis_to(length_m * factor, LEFT, RIGHT, most=8)
    up = 0.0 if events else MARKS_HEIGHT

    def x(metres: float) -> float:
        return min(max(axis(metres * factor), LEFT), RIGHT)

    shapes = [
        *_grid(axis, up, words),
        *_names(places),
        *(Area(_stretch(x(e.from_m), x(e.to_m)), OUTSIDE_FILL) for e in events),
    ]
    for row, (pair, metres) in enumerate(pair_length_m.items()):
        y = STRANDS - up + row * APART
        shapes.append(Words(pair, LEFT - 10, y + 3, 8.5, MUTED, "end"))
        if pair in broken:
            shapes += [Path(((LEFT, y), (x(metres), y)), OUTSIDE, 2.0, (5.0, 2.5)), *_cross(x(metres), y)]
        else:
            shapes += [Path(((LEFT, y), (RIGHT, y)), INK, 2.0), Dot(RIGHT, y, 2.4, INK)]
            shapes.append(Words(words.length(metres), RIGHT + 8, y + 3, 8.5, MUTED, "start"))
    shapes += [Path(((LEFT, AXIS - up), (RIGHT, AXIS - up)), INK, 0.8), *_marks(events, x)]
    return Picture(
        "run", words.say("heading.run"), words.say("picture.run_text"), WIDTH, HEIGHT - up, tuple(shapes)
    )


def _names(places: tuple[str, str]) -> list[Shape]:
    size = _type_size(places)
    return [
        Words(places[0], LEFT, 11, size, INK, "start", bold=True),
        Words(places[1], RIGHT, 11, size, INK, "end", bold=True),
    ]


def _grid(axis: Linear, up: float, words: Language) -> Iterator[Shape]:
    """Yield the lines and labels of the scale, moved up where no marks stand above it."""
    bottom, decimals = AXIS - up, 0 if axis.step >= 1 else 1
    for value in axis.ticks():
        yield Path(((axis(value), BELOW_MARKS - up), (axis(value), bottom)), GRID, 0.6)
        yield Path(((axis(value), bottom), (axis(value), bottom + 4)), INK, 0.8)
        yield Words(words.number(value, decimals), axis(value), bottom + 15, 8.5, MUTED, "middle")
    yield Words(words.length_unit.value, LEFT - 10, bottom + 15, 8.5, MUTED, "end")


def _type_size(places: tuple[str, str]) -> float:
    """Return the size of type at which both names stand on one line."""
    characters = sum(map(len, places)) + BETWEEN_NAMES
    return min(NAME_TYPE, (RIGHT - LEFT) / (characters * CHARACTER_SHARE))


def _stretch(low: float, high: float) -> tuple[Place, ...]:
    return box(low - 2, BELOW_MARKS - 2, high - low + 4, AXIS - BELOW_MARKS - 3)


def _cross(x: float, y: float) -> list[Shape]:
    return [
        Path(((x - 4, y - 4), (x + 4, y + 4)), OUTSIDE, 1.8),
        Path(((x - 4, y + 4), (x + 4, y - 4)), OUTSIDE, 1.8),
    ]


def _marks(events: Sequence[RunEvent], x: Callable[[float], float]) -> Iterator[Shape]:
    """Yield the numbered mark of each event, moved aside where two would cover each other."""
    last = -100.0
    for event in sorted(events, key=lambda e: e.middle_m):
        at = max(x(event.middle_m), last + 15)
        last = at
        yield Dot(at, MARKS, 6.5, WHITE, OUTSIDE, 1.4)
        yield Words(str(event.number), at, MARKS + 3, 8.5, OUTSIDE, "middle", bold=True)

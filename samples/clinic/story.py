"""One link of the job: how it lies, how it was measured, and what it is meant to show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from line_model.link import PhysicalLink

TIA: Final = "tia-568.2-d-2018"
ISO: Final = "iso-11801-1-2017"

STRAIGHT: Final = tuple((pin, pin) for pin in "12364578")

# What the makers of such instruments state for a field tester; invented, of a usual size.
ACCURACY_DB: Final = {
    "insertion_loss": 0.4,
    "next": 0.8,
    "ps_next": 0.9,
    "acr_n": 0.9,
    "ps_acr_n": 1.0,
    "acr_f": 1.0,
    "ps_acr_f": 1.1,
    "return_loss": 1.0,
}
ACCURACY: Final = {
    "length_m": 0.8,
    "delay_ns": 2.0,
    "delay_skew_ns": 2.5,
    "loop_resistance_ohm": 0.15,
    "resistance_unbalance_ohm": 0.05,
    "resistance_unbalance_between_pairs_ohm": 0.05,
}


@dataclass(frozen=True, slots=True)
class Cable:
    """What is printed on the sheath, which is not always what is inside."""

    category: str
    screening: str
    conductor: str
    awg: int
    nvp: float
    temperature_c: float = 20.0


UNSCREENED_6: Final = Cable("6", "U/UTP", "solid", 23, 0.69)


@dataclass(frozen=True, slots=True)
class Story:
    """A link and its story.

    Attributes:
        slug: what it shows, for the file name.
        story: one line for a person.
        kind: the trouble, by our word for it.
        outcome: what an honest verdict says.
        stopped_by: parameters that fail or are missing, where any.
        complex_curves: whether the instrument gave phase too.
        ends: the ends that were measured from.
        fext_ends: the ends that FEXT was injected at.
        is_resistance_by_pin: whether DC resistance was read for each wire, not for each loop.
        is_swept: whether curves were taken at all.
        summary: worst margins handed over in their place.
        port: what was seen of the live port at the near end, and of the device at the far one.
    """

    label: str
    slug: str
    story: str
    kind: str
    outcome: str
    link: PhysicalLink
    near: str
    far: str
    tested_at: str
    tested_by: str
    cable: Cable = UNSCREENED_6
    rule_set: str = TIA
    category: str = "6"
    configuration: str = "permanent_link"
    top_mhz: float = 250.0
    stopped_by: tuple[str, ...] = ()
    contacts: tuple[tuple[str, str], ...] = STRAIGHT
    shorts: tuple[tuple[str, ...], ...] = ()
    complex_curves: bool = False
    ends: tuple[str, ...] = ("near", "far")
    fext_ends: tuple[str, ...] = ("near",)
    is_resistance_by_pin: bool = False
    is_swept: bool = True
    adapter: str = "permanent link, category 6A"
    notes: str | None = None
    summary: dict[str, Any] | None = None
    port: dict[str, Any] | None = None

    @property
    def file_name(self) -> str:
        """Name of its file."""
        return f"{self.label}-{self.slug}.json"

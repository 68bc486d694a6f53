"""Touchstone files into the curves and delays of a measurement."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from fourpair_service.domain.delay import delay_at
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.measurement import ComplexArray, CurveGroup, FloatArray, PairReadings, SweepKey
from fourpair_service.domain.mixed_mode import (
    DIFFERENTIAL_REFERENCE_OHM,
    SINGLE_ENDED_REFERENCE_OHM,
    differential,
    mixed_mode,
    pair_quantities,
)
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.port_order import PortKind, PortOrder, logical_ports, recognise
from fourpair_service.http.touchstone_errors import UnreadableTouchstoneError
from fourpair_service.http.touchstone_text import TouchstoneText, plain_text

# TIA-568 judges delay at 10 MHz (memory); the nearest measured frequency is stated with it.
DELAY_AT_MHZ: Final = 10.0
# Nothing on a passive link is above 1; this leaves room for errors of calibration.
LARGEST_MAGNITUDE: Final = 1.5


@dataclass(frozen=True, slots=True)
class TouchstoneFile:
    """A file as it was sent.

    Attributes:
        name: with its extension, ``.s4p``, ``.s8p``, ``.s16p`` or ``.ts``.
        content: its bytes.
    """

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class TouchstoneDeclaration:
    """What the ports of the files are connected to.

    Attributes:
        pairs: the pairs in the order of the files and of the ports in each file,
            ``("36",)`` for one .s4p, ``("12", "36")`` for one .s8p of single-ended
            ports or two .s4p. Where the files hold four pairs it may be empty and
            means 12, 36, 45, 78. A pair may stand in several files (crosstalk
            measured two pairs at a time); the first file's values are kept.
        ports: ``single_ended`` (four ports for each pair) or ``differential``
            (two for each pair).
        order: the numbering of the ports in every file by name, or the port
            numbers (from 1) of near pairs and then far pairs, positive conductor
            first; ``None`` to have it recognised.
        reference_ohm: the reference of each port, where it is not the one that the
            files state. [ohm]
    """

    pairs: tuple[str, ...] = ()
    ports: PortKind = PortKind.SINGLE_ENDED
    order: PortOrder | tuple[int, ...] | None = None
    reference_ohm: float | None = None

    def __post_init__(self) -> None:
        """Refuse pairs that a link does not have and an impossible reference."""
        for i, pair in enumerate(self.pairs):
            if pair not in PAIRS:
                raise InvalidMeasurementError(f"/touchstone/pairs/{i}", f"pairs are {', '.join(PAIRS)}", pair)
        if self.reference_ohm is not None and not 1 <= self.reference_ohm <= 1000:
            raise InvalidMeasurementError(
                "/touchstone/reference_ohm", "expected 1 to 1000 ohm", self.reference_ohm
            )

    @property
    def ports_of_a_pair(self) -> int:
        """How many ports of a file one pair takes."""
        return 4 if self.ports is PortKind.SINGLE_ENDED else 2


@dataclass(frozen=True, slots=True, eq=False)
class ScatteringParameters:
    """What a file holds.

    Attributes:
        frequency_mhz: (n,) strictly increasing, above 0. [MHz]
        s: (n, ports, ports) in the convention exp(+jwt).
        reference_ohm: (ports,). [ohm]
    """

    frequency_mhz: FloatArray
    s: ComplexArray
    reference_ohm: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MeasurementParts:
    """What the files give of a measurement.

    Attributes:
        curves: as ``LinkMeasurement.curves`` has them.
        readings: the phase delay of each pair at 10 MHz or the measured frequency
            nearest to it. A pair whose delay cannot be determined (nothing comes
            through, the sweep starts too high) has no entry.
    """

    curves: Mapping[SweepKey, tuple[CurveGroup, ...]] = field(default_factory=dict)
    readings: Mapping[str, PairReadings] = field(default_factory=dict)


def read_touchstone(file: TouchstoneFile) -> ScatteringParameters:
    """Return the scattering parameters of a file, version 1 or 2.

    A point at 0 Hz is left out: no swept parameter is defined there.

    Raises:
        UnreadableTouchstoneError: anything that cannot be read or makes no sense.
    """
    text = plain_text(file.name, file.content)
    s = _parsed(file.name, text)
    magnitude = np.abs(s)
    if not bool(np.isfinite(magnitude).all() and magnitude.max() <= LARGEST_MAGNITUDE):
        raise UnreadableTouchstoneError(
            file.name,
            None,
            f"magnitudes up to {magnitude.max():.3g}, where nothing on a passive link is above 1; "
            "check the format (MA, DB, RI) in the option line",
        )
    above = text.frequency_hz > 0
    if not above.any():
        raise UnreadableTouchstoneError(file.name, None, "no frequency above 0 Hz")
    return ScatteringParameters(text.frequency_hz[above] / 1e6, s[above], np.array(text.reference_ohm))


def _parsed(name: str, text: TouchstoneText) -> ComplexArray:
    import skrf  # noqa: PLC0415  # half a second of import that most requests never need

    source = io.StringIO(text.plain)
    source.name = f"plain.s{text.port_count}p"
    try:
        with np.errstate(all="ignore"):
            return np.asarray(skrf.io.touchstone.Touchstone(source).s, dtype=np.complex128)
    except Exception as error:  # a foreign parser on foreign text: whatever it raises, the file is at fault
        raise UnreadableTouchstoneError(name, None, f"it cannot be read ({error})") from error


def measurement_parts(
    files: Sequence[TouchstoneFile], declaration: TouchstoneDeclaration
) -> MeasurementParts:
    """Return the curves and delays of a link from one or several files.

    Args:
        files: at least one; each holds one or more whole pairs, both ends.
        declaration: what their ports are connected to.

    Raises:
        UnreadableTouchstoneError: a file cannot be read.
        InvalidMeasurementError: the declaration does not fit the files, or the
            order of the ports is neither stated nor recognised.
    """
    networks = [read_touchstone(file) for file in files]
    shares = _pairs_of_each(networks, declaration)
    groups: dict[SweepKey, list[CurveGroup]] = {}
    for i, (file, network, pairs) in enumerate(zip(files, networks, shares, strict=True)):
        news = [
            _add(groups.setdefault(key, []), group)
            for key, group in _quantities(file.name, network, pairs, declaration).items()
        ]
        if not any(news):
            raise InvalidMeasurementError(
                "/touchstone/pairs", f"file {i + 1} ({file.name}) repeats pairs of the files before it"
            )
    curves = {key: tuple(parts) for key, parts in groups.items()}
    return MeasurementParts(curves, dict(_delays(curves[Parameter.INSERTION_LOSS, None])))


def _pairs_of_each(
    networks: Sequence[ScatteringParameters], declaration: TouchstoneDeclaration
) -> list[tuple[str, ...]]:
    counts = [len(network.reference_ohm) // declaration.ports_of_a_pair for network in networks]
    pairs = declaration.pairs or (PAIRS if sum(counts) == len(PAIRS) else ())
    if not counts or len(pairs) != sum(counts):
        raise InvalidMeasurementError(
            "/touchstone/pairs",
            f"the files hold {sum(counts)} pairs of {declaration.ports.replace('_', '-')} ports; "
            "name each of them in the order of the files",
            list(declaration.pairs),
        )
    ends = np.cumsum(counts).tolist()
    shares = [pairs[end - count : end] for end, count in zip(ends, counts, strict=True)]
    for share in shares:
        if len(set(share)) != len(share):
            raise InvalidMeasurementError("/touchstone/pairs", "a pair stands twice in one file", list(share))
    return shares


def _quantities(
    name: str, network: ScatteringParameters, pairs: tuple[str, ...], declaration: TouchstoneDeclaration
) -> dict[SweepKey, CurveGroup]:
    f, kind = network.frequency_mhz, declaration.ports
    s = _renormalised(name, network, declaration)
    if declaration.order is None:
        ports = recognise(f, s, pairs, kind)
    else:
        ports = logical_ports(declaration.order, pairs, kind)
    modes = mixed_mode(s, ports) if kind is PortKind.SINGLE_ENDED else differential(s, ports)
    return pair_quantities(f, modes, pairs)


def _renormalised(
    name: str, network: ScatteringParameters, declaration: TouchstoneDeclaration
) -> ComplexArray:
    """Return the matrices referred to 50 ohm single-ended, or to 100 ohm differential."""
    is_differential = declaration.ports is PortKind.DIFFERENTIAL
    wanted = DIFFERENTIAL_REFERENCE_OHM if is_differential else SINGLE_ENDED_REFERENCE_OHM
    stated = network.reference_ohm
    if declaration.reference_ohm is not None:
        stated = np.full_like(stated, declaration.reference_ohm)
    elif is_differential and bool(np.all(stated == SINGLE_ENDED_REFERENCE_OHM)):
        # Analysers write the reference of each conductor there as well as that of the pair.
        raise InvalidMeasurementError(
            "/touchstone/reference_ohm",
            f"{name} states 50 ohm for differential ports: state reference_ohm 100 if that is "
            "each of the two conductors, 50 if it is the pair",
        )
    if bool(np.all(stated == wanted)):
        return network.s
    return _renormalise(name, network.s, stated, wanted)


def _renormalise(name: str, s: ComplexArray, stated: FloatArray, wanted: float) -> ComplexArray:
    import skrf  # noqa: PLC0415  # see above

    try:
        with np.errstate(all="ignore"):
            result = np.asarray(skrf.network.renormalize_s(s, stated, wanted), dtype=np.complex128)
    except np.linalg.LinAlgError as error:
        raise UnreadableTouchstoneError(name, None, f"no reference of {wanted:g} ohm: {error}") from error
    if not bool(np.abs(result).max() <= LARGEST_MAGNITUDE):
        raise UnreadableTouchstoneError(
            name, None, f"referred to {wanted:g} ohm it is no passive link; check the reference resistance"
        )
    return result


def _add(parts: list[CurveGroup], group: CurveGroup) -> bool:
    """Add the curves that are not there yet, to the group of the same axis where there is one."""
    known = {key for part in parts for key in part.keys}
    rows = [i for i, key in enumerate(group.keys) if key not in known]
    if not rows:
        return False
    value = None if group.value_complex is None else group.value_complex[rows]
    keys = tuple(group.keys[i] for i in rows)
    new = CurveGroup(group.frequency_mhz, keys, group.value_db[rows], value)
    for i, part in enumerate(parts):
        if np.array_equal(part.frequency_mhz, group.frequency_mhz):
            parts[i] = _joined(part, new)
            return True
    parts.append(new)
    return True


def _joined(first: CurveGroup, second: CurveGroup) -> CurveGroup:
    value = None
    if first.value_complex is not None and second.value_complex is not None:
        value = np.concatenate([first.value_complex, second.value_complex])
    value_db = np.concatenate([first.value_db, second.value_db])
    return CurveGroup(first.frequency_mhz, first.keys + second.keys, value_db, value)


def _delays(losses: tuple[CurveGroup, ...]) -> Iterator[tuple[str, PairReadings]]:
    for group in losses:
        for key in group.keys:
            transmission = group.sweep(key).value_complex
            assert transmission is not None  # insertion loss from scattering parameters always has it
            try:
                delay = delay_at(group.frequency_mhz, transmission, DELAY_AT_MHZ)
            except InvalidMeasurementError:
                continue
            yield key, PairReadings(delay_ns=delay.delay_ns, delay_frequency_mhz=delay.frequency_mhz)

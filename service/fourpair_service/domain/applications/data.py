"""What is known of the applications, as data; ``rulesets.application_reader`` reads it from its file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from fourpair_service.domain.facts import Fact
from fourpair_service.domain.limits import Basis, CurveLimit, EvaluationRules, ReadingLimit, Rule
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import Parameter


class Correction(StrEnum):
    """What the two devices make of wires that arrive elsewhere.

    ``corrected``: the standard asks it of every device. ``optional``: most do.
    """

    CORRECTED = "corrected"
    OPTIONAL = "optional"


class AlienLine(StrEnum):
    """What the alien limits of an application mean.

    ``none``: it has none. ``required``: outside them it is not supported.
    ``sufficient``: inside them it is supported, outside them nothing is known.
    """

    NONE = "none"
    REQUIRED = "required"
    SUFFICIENT = "sufficient"


@dataclass(frozen=True, slots=True)
class Statement:
    """Something said in words, with its origin."""

    text: str
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class Excuses:
    """Where a link loses so little that a point is left out.

    Attributes:
        return_loss_below_loss_db: return loss, by the pair's own loss. [dB]
        near_end_below_loss_db: NEXT and PS NEXT, by the loss of the pairs concerned. [dB]
        acr_f_above_fext_db, ps_acr_f_above_ps_fext_db: by the crosstalk itself. [dB]
    """

    statement: Statement
    return_loss_below_loss_db: float
    near_end_below_loss_db: float
    acr_f_above_fext_db: float
    ps_acr_f_above_ps_fext_db: float

    def applied_to(self, rules: EvaluationRules) -> EvaluationRules:
        """Return the switches of an edition with these in place of its own."""

        def rule(value: float) -> Rule:
            return Rule(value, self.statement.source, self.statement.basis)

        return replace(
            rules,
            return_loss_below_loss_db=rule(self.return_loss_below_loss_db),
            next_below_loss_db=rule(self.near_end_below_loss_db),
            acr_f_above_fext_db=rule(self.acr_f_above_fext_db),
            ps_acr_f_above_ps_fext_db=rule(self.ps_acr_f_above_ps_fext_db),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Application:
    """One application and the limits of its link segment, end to end.

    Attributes:
        clause: of IEEE 802.3, from memory.
        from_mhz, to_mhz: the range that is judged. [MHz]
        pairs: the pairs that it uses; the others may be missing.
        length: the greatest length that it is designed for; advice, no limit. [m]
        limits: by parameter, over frequency.
        skew: limit of the delay skew, ``None`` where it has none.
        reversed_pair, crossover, crossover_of_all: what the devices make of them.
        alien: what the alien limits among ``limits`` mean.
    """

    name: str
    clause: str
    rate_mbps: float
    from_mhz: float
    to_mhz: float
    pairs: tuple[str, ...]
    line_code: str
    length: Fact
    limits: Mapping[Parameter, CurveLimit]
    skew: ReadingLimit | None
    reversed_pair: Correction
    crossover: Correction
    crossover_of_all: Correction
    alien: AlienLine


@dataclass(frozen=True, slots=True)
class UnjudgedApplication:
    """An application that is known by name alone, and why."""

    name: str
    clause: str
    reason: Statement


@dataclass(frozen=True, slots=True)
class CategorySupport:
    """What cabling that meets one of these categories or classes carries by design.

    Attributes:
        conditional: by application, on what it depends.
    """

    categories: tuple[str, ...]
    supported: tuple[str, ...]
    conditional: Mapping[str, Statement]
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class LengthAdvice:
    """What is said of an application up to a length; ``None``: any length. [m]."""

    application: str
    up_to_m: float | None
    advice: Statement


@dataclass(frozen=True, slots=True)
class AlienRelief:
    """How the PS ANEXT level falls for links that lose less, straight between two points.

    Attributes:
        loss_at_mhz: where the loss is taken. [MHz]
        full_loss_db, full_level_db: the one point, loss and level at 100 MHz. [dB]
        least_loss_db, least_level_db: the other. [dB]
    """

    loss_at_mhz: float
    full_loss_db: float
    full_level_db: float
    least_loss_db: float
    least_level_db: float
    source: str
    basis: Basis

    def drop_db(self, loss_db: float) -> float:
        """Return by how much the limit falls for a link of this loss, never less than 0. [dB].

        >>> relief = AlienRelief(250, 35.9, 62, 19.8, 47, "memory", Basis.MEMORY)
        >>> [round(relief.drop_db(loss), 2) for loss in (40.0, 27.85, 10.0)]
        [0.0, 7.5, 15.0]
        """
        share = (self.full_loss_db - loss_db) / (self.full_loss_db - self.least_loss_db)
        return min(1.0, max(0.0, share)) * (self.full_level_db - self.least_level_db)


@dataclass(frozen=True, slots=True)
class AlienRules:
    """When noise from other cables may be taken as in check without a measurement.

    Attributes:
        categories: declared cable categories that keep it so by design.
        screened: why a screen does as well.
        condition: what helps where nothing is known.
        relief: for applications whose alien limits are required.
    """

    categories: tuple[str, ...]
    category_origin: Statement
    screened: Statement
    condition: Statement
    relief: AlienRelief
    lengths: tuple[LengthAdvice, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Receiver:
    """The assumptions of a signal-to-noise calculation for one application.

    Attributes:
        top_mhz: half the symbol rate. [MHz]
        signal_dbm_per_hz: sent power density, taken as flat. [dBm/Hz]
        echo_cancellation_db, next_cancellation_db, fext_cancellation_db: what
            the receiver takes off its own pairs' noise. [dB]
        cancellation: where they come from.
        alien_at_100_mhz: PS ANEXT that is assumed; 10 dB a decade below 100 MHz,
            15 dB above. ``None``: no noise from other cables is assumed. [dB]
        needed_snr: what the code needs at its bit error ratio. [dB]
    """

    application: str
    top_mhz: float
    signal_dbm_per_hz: Fact
    echo_cancellation_db: float
    next_cancellation_db: float
    fext_cancellation_db: float
    cancellation: Statement
    alien_at_100_mhz: Fact | None
    needed_snr: Fact


@dataclass(frozen=True, slots=True, eq=False)
class NoiseData:
    """What all signal-to-noise calculations share.

    Attributes:
        thermal_dbm_per_hz: noise that is always there. [dBm/Hz]
        uncertainty: of an absolute ratio, from published results that are missed. [dB]
        receivers: by application.
    """

    thermal_dbm_per_hz: Fact
    uncertainty: Fact
    method_source: str
    receivers: Mapping[str, Receiver]


@dataclass(frozen=True, slots=True, eq=False)
class ApplicationData:
    """Everything in the file of applications.

    Attributes:
        version: changes whenever another answer may come out.
        cord_length: by configuration, what is added where the job states nothing. [m]
        excuses: which points are left out.
    """

    version: str
    applications: Mapping[str, Application]
    unjudged: tuple[UnjudgedApplication, ...]
    support: tuple[CategorySupport, ...]
    cord_length: Mapping[Configuration, Fact]
    excuses: Excuses
    alien: AlienRules
    noise: NoiseData

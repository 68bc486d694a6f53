"""Settings, read once from the environment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from typing import Final

from fourpair_service.errors import ServiceError

Network = IPv4Network | IPv6Network


class InvalidSettingError(ServiceError):
    """A setting in the environment cannot be used."""

    code = "invalid-setting"


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: its variable, default and meaning."""

    variable: str
    default: str
    meaning: str


SETTINGS: Final = (
    Setting("FOURPAIR_HOST", "127.0.0.1", "address to listen on"),
    Setting("FOURPAIR_PORT", "8740", "port to listen on; 0 takes a free one"),
    Setting("FOURPAIR_WORKERS", "2", "processes, each with one request thread"),
    Setting(
        "FOURPAIR_STORE",
        "fourpair.db",
        "file that keeps the records, or a postgresql:// URL; :memory: keeps them while it runs",
    ),
    Setting("FOURPAIR_BACKGROUND", "1", "0 leaves runs and deliveries to `fourpair-service work`"),
    Setting(
        "FOURPAIR_CLUSTER",
        "",
        "address of a Dask scheduler, as tcp://host:8786, whose workers grade for runs",
    ),
    Setting("FOURPAIR_GRADING_PROCESSES", "2", "processes that a run over many records grades in"),
    Setting(
        "FOURPAIR_WEBHOOK_NETWORKS",
        "",
        "networks of the site, as 10.1.0.0/16, that webhooks may go to; by http too",
    ),
    Setting(
        "FOURPAIR_WEBHOOK_AUTHORITIES", "", "file of the certificate authorities that receivers are held to"
    ),
    Setting("FOURPAIR_MIN_FREE_BYTES", "268435456", "room on the disk below which the service is not ready"),
    Setting("FOURPAIR_REQUESTS_PER_MINUTE", "6000", "of a key that has no rate of its own; 0 for no limit"),
    Setting("FOURPAIR_ALLOW_OPEN", "0", "1 allows an address other than loopback, without keys"),
    Setting(
        "FOURPAIR_LIMITS_DIRECTORY", "", "directory of own edition files, loaded beside the built-in ones"
    ),
    Setting("FOURPAIR_MAX_BODY_BYTES", "8388608", "largest JSON body, inflated"),
    Setting("FOURPAIR_MAX_PART_BYTES", "67108864", "largest Touchstone part, and the largest multipart body"),
    Setting("FOURPAIR_MAX_INFLATE_RATIO", "100", "how many times its size a packed body may inflate to"),
    Setting("FOURPAIR_MAX_CURVES", "200", "sweeps in one document"),
    Setting("FOURPAIR_MAX_POINTS", "20000", "frequencies in one sweep"),
)


@dataclass(frozen=True, slots=True)
class Settings:
    """How a service runs; see ``SETTINGS`` for what each one means."""

    host: str = "127.0.0.1"
    port: int = 8740
    workers: int = 2
    store: str = ":memory:"
    background: bool = True
    cluster: str = ""
    grading_processes: int = 2
    webhook_networks: tuple[Network, ...] = ()
    webhook_authorities: Path | None = None
    min_free_bytes: int = 256 * 1024 * 1024
    requests_per_minute: int = 6000
    allow_open: bool = False
    limits_directory: Path | None = None
    max_body_bytes: int = 8 * 1024 * 1024
    max_part_bytes: int = 64 * 1024 * 1024
    max_inflate_ratio: int = 100
    max_curves: int = 200
    max_points: int = 20_000

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Settings:
        """Return the settings of an environment.

        Raises:
            InvalidSettingError: naming the variable, its value and what is accepted.
        """
        values = {s.variable: environment.get(s.variable, s.default) for s in SETTINGS}
        directory = values["FOURPAIR_LIMITS_DIRECTORY"]
        return cls(
            host=values["FOURPAIR_HOST"],
            port=_whole(values, "FOURPAIR_PORT", 0, 65535),
            workers=_whole(values, "FOURPAIR_WORKERS", 1, 64),
            store=values["FOURPAIR_STORE"],
            background=bool(_whole(values, "FOURPAIR_BACKGROUND", 0, 1)),
            cluster=values["FOURPAIR_CLUSTER"],
            grading_processes=_whole(values, "FOURPAIR_GRADING_PROCESSES", 1, 64),
            webhook_networks=_networks(values, "FOURPAIR_WEBHOOK_NETWORKS"),
            webhook_authorities=_file(values, "FOURPAIR_WEBHOOK_AUTHORITIES"),
            min_free_bytes=_whole(values, "FOURPAIR_MIN_FREE_BYTES", 0, 2**50),
            requests_per_minute=_whole(values, "FOURPAIR_REQUESTS_PER_MINUTE", 0, 10_000_000),
            allow_open=bool(_whole(values, "FOURPAIR_ALLOW_OPEN", 0, 1)),
            limits_directory=Path(directory) if directory else None,
            max_body_bytes=_whole(values, "FOURPAIR_MAX_BODY_BYTES", 1024, 2**31),
            max_part_bytes=_whole(values, "FOURPAIR_MAX_PART_BYTES", 1024, 2**31),
            max_inflate_ratio=_whole(values, "FOURPAIR_MAX_INFLATE_RATIO", 1, 1100),
            max_curves=_whole(values, "FOURPAIR_MAX_CURVES", 1, 10_000),
            max_points=_whole(values, "FOURPAIR_MAX_POINTS", 2, 10_000_000),
        )


def _networks(values: Mapping[str, str], variable: str) -> tuple[Network, ...]:
    try:
        return tuple(ip_network(part.strip()) for part in values[variable].split(",") if part.strip())
    except ValueError as error:
        raise InvalidSettingError(
            f"{variable} is {values[variable]!r}: {error}. Give networks such as 10.1.0.0/16, with commas between."
        ) from None


def _file(values: Mapping[str, str], variable: str) -> Path | None:
    path = Path(values[variable]) if values[variable] else None
    if path is not None and not path.is_file():
        raise InvalidSettingError(f"{variable} is {values[variable]!r}; there is no such file.")
    return path


def _whole(values: Mapping[str, str], variable: str, low: int, high: int) -> int:
    text = values[variable]
    if text.isascii() and text.isdigit() and low <= int(text) <= high:
        return int(text)
    raise InvalidSettingError(f"{variable} is {text!r}; it must be a whole number from {low} to {high}.")

"""The entry of ``fourpair-service``."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; say which extra to install where something is missing."""
    try:
        from fourpair_service.cli import run  # noqa: PLC0415 - the service's packages are an extra
    except ModuleNotFoundError as error:
        print(f"{error.name} is not installed; run: pip install 'fourpair[service]'", file=sys.stderr)
        return 1
    return run(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())

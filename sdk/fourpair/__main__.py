"""``python -m fourpair`` is the command line."""

import sys

from fourpair._command import main

if __name__ == "__main__":
    sys.exit(main())

"""The Python SDK of fourpair."""

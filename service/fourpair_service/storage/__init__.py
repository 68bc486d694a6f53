"""Where records are kept: adapters of the ports of :mod:`fourpair_service.records`."""

"""The fourpair service: grades four-pair link measurements and keeps the records."""

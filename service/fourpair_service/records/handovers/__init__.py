"""Papers of whole jobs that are made beside the requests, and kept for a day."""

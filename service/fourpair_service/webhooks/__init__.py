"""Sending signed messages to receivers that others chose, without being led astray."""

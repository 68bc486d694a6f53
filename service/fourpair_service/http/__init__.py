"""What the service says and understands over HTTP."""

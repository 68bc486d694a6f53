"""What is kept, what may be done with it and what can be asked of it; no web, no SQL."""

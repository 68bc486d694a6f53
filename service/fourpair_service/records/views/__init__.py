"""What a shop asks of a job: where it stands, what can be billed, what is to be mended."""

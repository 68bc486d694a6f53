"""One module for each family of addresses."""

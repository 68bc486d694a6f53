"""What a link can carry of power over Ethernet, for a device with a single signature."""

"""What a link can carry: Ethernet applications, their noise margin, and what-if predictions."""

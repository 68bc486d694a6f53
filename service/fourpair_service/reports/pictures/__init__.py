"""The pictures of a link: its wires, its run, its margins."""

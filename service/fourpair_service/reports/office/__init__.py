"""The office screen: what its pages show, as values first and HTML then."""

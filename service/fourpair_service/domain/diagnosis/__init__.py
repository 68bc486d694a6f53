"""What is wrong with a link, where, and what to do first: suspicion with evidence, never a verdict."""

"""Published editions as data files, and the one reader of them."""

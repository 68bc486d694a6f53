"""The other programs of a shop: each a short file that may be copied and changed."""

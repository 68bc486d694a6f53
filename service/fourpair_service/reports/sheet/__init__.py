"""The sheet that is handed over for a link: one model, and its forms."""

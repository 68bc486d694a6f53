"""What a whole job is handed over as: one model of its links, written as PDF, XLSX, CSV or ZIP."""

"""Pictures as plain shapes, drawn once and written as SVG or onto a page of a PDF."""

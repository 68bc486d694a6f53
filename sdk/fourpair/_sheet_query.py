"""What is asked of a link sheet, kept or not."""

from __future__ import annotations


def sheet_query(
    media: str,
    *,
    extent: str | None,
    language: str | None,
    length_unit: str | None,
    paper: str | None,
    picture: str | None,
    width_px: int | None,
) -> dict[str, str | int | None]:
    """Return the query of a sheet, in the words of the contract."""
    return {
        "format": media,
        "extent": extent,
        "language": language,
        "length_unit": length_unit,
        "paper": paper,
        "picture": picture,
        "width_px": width_px,
    }

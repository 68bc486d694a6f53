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
) -> dict[str, str | None]:
    """Return the query of a sheet, in the words of the contract."""
    return {
        "format": media,
        "extent": extent,
        "language": language,
        "length_unit": length_unit,
        "paper": paper,
        "picture": picture,
    }

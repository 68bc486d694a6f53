"""pandas, for whoever asks for a frame; the SDK does without."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas


def frame(*arguments: Any, **options: Any) -> pandas.DataFrame:
    """Return a pandas frame; arguments as of ``pandas.DataFrame``.

    Raises:
        ImportError: pandas is not installed.
    """
    try:
        import pandas  # noqa: PLC0415 - only for whoever asks for a frame
    except ImportError as error:
        raise ImportError("A frame needs pandas: run pip install pandas") from error
    return pandas.DataFrame(*arguments, **options)

"""A link of which only the worst margins were handed over."""

from __future__ import annotations

from typing import Final

from clinic.story import Story

STORIES: Final[tuple[Story, ...]] = ()

"""What a bare hand may touch, by its measured temperature."""

from __future__ import annotations

HOT_C = 43.0
"""Metal warmer than this burns skin that stays on it (ISO 13732-1, eight hours or longer; from memory)."""

COLD_C = 5.0
"""Metal colder than this hurts soon and may stick to damp skin; common practice, no source."""

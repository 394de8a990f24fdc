"""Words on their way into a night: from the daemon's pipe, and from afar where the lab file allows that."""

from __future__ import annotations

import asyncio
import json
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from daemon.night import Voice


class Spoken:
    """Passes words on once the night hears; `say` is given each answer and that the night has begun."""

    def __init__(self, say: Callable[..., None]) -> None:
        self._say = say
        self._speak: Callable[..., None] | None = None

    def listen(self, voice: Voice) -> None:
        """From now on words reach the night. Called on the night's own loop."""
        loop = asyncio.get_running_loop()

        def on_the_loop(number: int, word: str, who: str, reason: str) -> None:
            self._say(number=number, effect=voice(word, who, reason))

        def speak(*word: Any) -> None:
            loop.call_soon_threadsafe(on_the_loop, *word)

        self._speak = speak
        threading.Thread(target=_read_words, args=(speak,), name="words", daemon=True).start()
        self._say(begun=True)

    def from_afar(self, word: str, who: str, reason: str) -> None:
        """A word that came by MQTT; from any thread. Before the night hears and after its end it is lost."""
        with suppress(RuntimeError):
            if self._speak is not None:
                self._speak(0, word, f"{who}, by MQTT", reason)


def _read_words(speak: Callable[..., None]) -> None:
    try:
        for line in sys.stdin:
            word = json.loads(line)
            speak(word["number"], word["word"], word["who"], word["reason"])
        speak(0, "halt", "the bench's process", "the daemon is gone")
    except RuntimeError:
        return  # the night has ended and its loop with it

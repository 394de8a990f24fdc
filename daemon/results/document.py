"""A page of ours as one file: needs no network and no program, reads on paper and on a telephone."""

from __future__ import annotations

from importlib.resources import files

from daemon.results.markup import Html, element, joined


def document(title: str, body: Html) -> str:
    """The whole page as text, with its style inside."""
    style = files("daemon.results").joinpath("page.css").read_text(encoding="utf-8")
    head = joined(
        [
            Html('<meta charset="utf-8">'),
            Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            element("title", title),
            element("style", Html(style)),
        ]
    )
    return f'<!DOCTYPE html>\n<html lang="en">\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n'

"""The review on the page: what people signed, and what is still to be signed."""

from __future__ import annotations

from daemon.results.markup import Html, bullets, element, section
from daemon.review.state import Review
from daemon.review.words import in_words

_HOW = (
    "Signed in a terminal: ",
    element("code", "ohmvigil review RECORD accept"),
    " (or exclude, put-back, amend) with --who and --name; the page is written anew by ",
    element("code", "ohmvigil report RECORD"),
    ". What was measured is never changed.",
)


def review_section(review: Review) -> Html:
    """Every decision in order, newest last, and where the review stands."""
    state = (
        f"Accepted by {review.accepted.by.name}."
        if review.accepted is not None
        else "Nobody has accepted these results yet: nothing may be issued."
    )
    signed = bullets(in_words(entry) for entry in review.history)
    return section("Review", element("p", state), signed, element("p", *_HOW, cls="quiet"), name="review")

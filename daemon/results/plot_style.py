"""How every plot looks, and how it is written so that the same record gives the same bytes.

Colours are told apart by colour-blind people and in grey print; line styles and markers say the same again.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, PALE = "#1b1f24", "#6b7280", "#d7dbe0"
BLUE, ORANGE, GREEN, RED = "#0b62a4", "#c8540a", "#1d7a5f", "#9e1b32"
HALO, SOAK = "#9cc3e0", "#bcd4e6"
BODY_PT, SMALL_PT = 8.0, 7.0
PNG_DPI = 160

_PATH = re.compile(r'\bd="[^"]*"')
_LONG = re.compile(r"-?\d+\.\d{3,}")

_SETTINGS: Any = {
    "svg.fonttype": "path",
    "text.parse_math": False,
    "svg.hashsalt": "ohmvigil",
    "font.family": "DejaVu Sans",
    "font.size": BODY_PT,
    "axes.titlesize": BODY_PT,
    "axes.labelsize": BODY_PT,
    "axes.edgecolor": SOFT,
    "axes.linewidth": 0.6,
    "axes.labelcolor": INK,
    "axes.unicode_minus": True,
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "legend.fontsize": SMALL_PT,
    "legend.frameon": False,
    "hatch.linewidth": 0.4,
    "path.simplify": False,
}


@contextmanager
def style() -> Iterator[None]:
    """Draw in the house style inside this block, whatever the person's own settings are."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        # A letter that the font lacks shows as a box and must not stop the morning.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        yield


def new_figure(width_in: float, height_in: float, *, constrained: bool = True) -> Figure:
    """An empty figure, known to no window system; `constrained` finds its margins itself, in a second."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_in, height_in), layout="constrained" if constrained else None)


def quiet(axes: Axes) -> None:
    """Only the axes that carry numbers, and a faint grid."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, color=PALE, linewidth=0.4)
    axes.set_axisbelow(True)
    axes.tick_params(length=2.5, width=0.5)


def mark_simulated(figure: Figure, sentence: str) -> None:
    """Across the picture, so that no cutting out loses it."""
    figure.text(
        0.5,
        0.5,
        sentence,
        rotation=18,
        fontsize=26,
        color=RED,
        alpha=0.13,
        ha="center",
        va="center",
        weight="bold",
    ).set_in_layout(False)


def save(figure: Figure, stem: Path) -> tuple[Path, Path]:
    """Write `stem`.svg and `stem`.png without dates or program names in them."""
    # Laid out once: both files then show the very same picture, and it takes half the time.
    if figure.get_layout_engine() is not None:
        figure.draw_without_rendering()
        figure.set_layout_engine("none")
    svg, png = stem.with_name(f"{stem.name}.svg"), stem.with_name(f"{stem.name}.png")
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    svg.write_text(_shorter(text.getvalue()), encoding="utf-8", newline="\n")
    figure.savefig(png, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return svg, png


def _shorter(svg: str) -> str:
    """Path coordinates to a hundredth of a point: nothing to see, half the size."""
    return _PATH.sub(lambda path: _LONG.sub(lambda number: f"{float(number[0]):.2f}", path[0]), svg)


def inline_svg(svg: Path, prefix: str, description: str) -> str:
    """The SVG's text for use inside a page: ids made unique by `prefix`, described for those who hear it."""
    text = svg.read_text(encoding="utf-8")
    text = text[text.index("<svg") :]
    text = re.sub(r'\bid="', f'id="{prefix}-', text)
    text = re.sub(r'href="#', f'href="#{prefix}-', text)
    text = re.sub(r"url\(#", f"url(#{prefix}-", text)
    return text.replace("<svg", f'<svg role="img" aria-label="{description}"', 1)

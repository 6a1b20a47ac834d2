"""The look of figures, and saving them: Agg only, the same bytes for the same figure, whole files or none."""

from __future__ import annotations

import contextlib
import functools
import io
import warnings
from collections.abc import Callable, Iterator, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from simulator.report.writing import write_atomically

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_Given = ParamSpec("_Given")
_Made = TypeVar("_Made")
RASTER_DPI = 160


@contextlib.contextmanager
def figure_style() -> Iterator[None]:
    """Draw in the project's style, whatever the user's own matplotlib settings; they come back afterwards."""
    import matplotlib.style

    sheet = resources.files("simulator.report").joinpath("acreday.mplstyle")
    with resources.as_file(sheet) as path, matplotlib.style.context(path, after_reset=True), warnings.catch_warnings():
        # a name in a script that the font lacks shows boxes; that is no reason to talk over a progress bar
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def styled(make: Callable[_Given, _Made]) -> Callable[_Given, _Made]:
    """Make a function that draws do so in the project's style."""

    @functools.wraps(make)
    def wrapped(*args: _Given.args, **kwargs: _Given.kwargs) -> _Made:
        with figure_style():
            return make(*args, **kwargs)

    return wrapped


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure that pyplot knows nothing of.

    Parameters
    ----------
    width_in, height_in : float
        Size in inches.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def settle(figure: Figure) -> Figure:
    """Lay a figure out once, so that texts made late (ticks) also follow the style it was drawn in."""
    figure.draw_without_rendering()
    return figure


def figure_bytes(figure: Figure, form: str) -> bytes:
    """Return a figure as a file's content; the same figure gives the same bytes.

    Parameters
    ----------
    figure : Figure
        What to write.
    form : {"svg", "png", "pdf"}
        Format.

    Raises
    ------
    ValueError
        Another format.
    """
    metadata: dict[str, dict[str, Any]] = {
        "svg": {"Date": None, "Creator": None},
        "png": {"Software": None},
        "pdf": {"CreationDate": None, "Producer": None, "Creator": None},
    }
    if form not in metadata:
        raise ValueError(f"got format {form!r}; allowed is one of {sorted(metadata)}")
    stream = io.BytesIO()
    with figure_style():
        figure.savefig(stream, format=form, dpi=RASTER_DPI, metadata=metadata[form])
    return stream.getvalue()


def save_figure(figure: Figure, stem: Path, formats: Sequence[str] = ("svg", "png")) -> list[Path]:
    """Write a figure as SVG and PNG, or in other formats.

    Parameters
    ----------
    figure : Figure
        What to write.
    stem : Path
        Path without ending; its folder must exist.
    formats : sequence of str
        Any of ``svg``, ``png`` and ``pdf``.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    paths = []
    contents = {form: figure_bytes(figure, form) for form in formats}
    for form, content in contents.items():
        path = stem.with_name(f"{stem.name}.{form}")
        write_atomically(path, content)
        paths.append(path)
    return paths

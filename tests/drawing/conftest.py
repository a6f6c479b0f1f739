"""Results to draw: every example, and one network of two amplifier channels."""

import shutil
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.path import Path as Line

from xover.curve import log_grid
from xover.drawing import draw_load, draw_prediction
from xover.drawing.style import look
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.does.load.study import study_load

ROOT = Path(__file__).parents[2]
ATTIC = ROOT / "examples" / "attic-two-way" / "left"
EXAMPLES = {
    "attic left": ATTIC,
    "attic right": ROOT / "examples" / "attic-two-way" / "right",
    "hall horn": ROOT / "examples" / "hall-horn-two-way",
    "studio": ROOT / "examples" / "studio-three-way",
}
CASES = [(name, network) for name in EXAMPLES for network in ("found", "original")] + [("bi-amp", "found")]
IDS = [f"{name}, {network}" for name, network in CASES]


class Results:
    """Predictions and load studies, worked out once."""

    def __init__(self, folder):
        self._folder = folder
        self._kept = {}

    def speaker(self, name):
        return self._keep(("speaker", name), lambda: open_speaker(EXAMPLES.get(name) or self._bi_amp()))

    def prediction(self, name, network="found"):
        return self._keep(("predict", name, network), lambda: predict(self.speaker(name), network, self.grid))

    def load(self, name, network="found"):
        return self._keep(("load", name, network), lambda: study_load(self.speaker(name), network, self.grid))

    def levels_figure(self, name, network="found"):
        """Drawn once, to be looked at only."""
        return self._keep(("levels", name, network), lambda: Drawn(draw_prediction(self.prediction(name, network))))

    def load_figure(self, name, network="found"):
        """Drawn once, to be looked at only."""
        return self._keep(("ohms", name, network), lambda: Drawn(draw_load(self.load(name, network))))

    grid = log_grid(20.0, 20_000.0, 48)

    def _keep(self, key, make):
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    def _bi_amp(self):
        """The drivers of the attic speaker on the ready circuit of two channels."""
        folder = self._folder / "bi-amp"
        shutil.copytree(ATTIC, folder)
        shutil.copy(ROOT / "circuits" / "two-way-bi-amp.cir", folder / "found.cir")
        toml = (folder / "speaker.toml").read_text(encoding="utf-8")
        head, _, rest = toml.partition("[networks.original]")
        assert rest
        (folder / "speaker.toml").write_text(head + rest.partition("\n\n")[2], encoding="utf-8")
        return folder


@pytest.fixture(scope="session")
def results(tmp_path_factory):
    return Results(tmp_path_factory.mktemp("speakers"))


def pytest_generate_tests(metafunc):
    """A test that takes `case` runs on every network of every example."""
    if "case" in metafunc.fixturenames:
        metafunc.parametrize("case", CASES, ids=IDS)


class Drawn:
    """What a reader meets on a figure."""

    def __init__(self, figure):
        with look():
            figure.draw_without_rendering()  # ticks and names take their places
        self.figure = figure
        self.upper, *_, self.lower = figure.axes

    def line(self, name, axes=None):
        """The one line of that name, x and y."""
        found = [line for line in (axes or self.upper).lines if line.get_label() == name]
        assert len(found) == 1, [line.get_label() for line in (axes or self.upper).lines]
        return found[0].get_xdata(), found[0].get_ydata()

    def names(self, axes):
        return [line.get_label() for line in axes.lines]

    def labels(self, axes):
        """Words that stand on the lines of a panel."""
        return [text.get_text() for text in axes.texts]

    def words(self):
        """All words, with what holds them."""
        from matplotlib.text import Text

        return [t for t in self.figure.findobj(Text) if t.get_visible() and t.get_text().strip()]

    def box(self, text):
        """Pixels that a text covers, without its leader."""
        from matplotlib.text import Annotation, Text

        renderer = self.figure.canvas.get_renderer()
        if isinstance(text, Annotation):
            text.update_positions(renderer)
        return Text.get_window_extent(text, renderer)

    def assert_legible(self, least=15):
        """No two texts overlap, all lie within the figure, and there are more than `least`."""
        width, height = self.figure.canvas.get_width_height()
        boxes = [(text, self.box(text)) for text in self.words()]
        assert len(boxes) > least
        for text, box in boxes:
            assert 0 <= box.x0 < box.x1 <= width, text
            assert 0 <= box.y0 < box.y1 <= height, text
        for (a, first), (b, second) in combinations(boxes, 2):
            wide = min(first.x1, second.x1) - max(first.x0, second.x0)
            tall = min(first.y1, second.y1) - max(first.y0, second.y0)
            assert wide <= 0.5 or tall <= 0.5, f"{a.get_text()!r} lies on {b.get_text()!r}"

    def crossed(self, axes):
        """Names in a panel through which a line runs."""
        found = []
        for text in axes.texts:
            box = self.box(text)
            for line in axes.lines:
                xy = line.get_transform().transform(np.column_stack(line.get_data()))
                low, high = np.minimum(xy[:-1], xy[1:]), np.maximum(xy[:-1], xy[1:])
                near = ((low <= [box.x1, box.y1]) & (high >= [box.x0, box.y0])).all(axis=1)
                if any(Line(xy[i : i + 2]).intersects_bbox(box, filled=False) for i in np.flatnonzero(near)):
                    found.append((text.get_text(), line.get_label()))
        return found

    def all_text(self):
        return "\n".join(t.get_text() for t in self.words())


@pytest.fixture(scope="session")
def drawn():
    return Drawn

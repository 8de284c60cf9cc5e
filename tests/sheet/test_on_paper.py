"""Large drawings in pieces, and every page in a browser at a telephone's and at paper's width."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from biaspredict.notation.load import load_stage
from biaspredict.report.drawing.draw import draw, lay_out
from biaspredict.report.drawing.svg import UNIT
from biaspredict.report.sheet.cutting import (
    LEAST,
    LYING_ALONE,
    UPRIGHT_ALONE,
    Paper,
    on_paper,
)
from tests.circuits.files import ROOT
from tests.sheet.made import LINE, PREAMP, READINGS, made, written

VIEW = re.compile(r'viewBox="([-0-9.]+) ([-0-9.]+) ([0-9.]+) ([0-9.]+)"')
PHONE = 390  # CSS pixels, a common telephone held upright
# A4 less the margins of the page, and the margins that the page has on a screen: 96 an inch.
PAPER = round((186 + 8) / 25.4 * 96)


def many(folder: Path, count: int) -> Path:
    """A ladder of that many sections."""
    lines = ['stage "ladder"', "rail B+ 22 V"]
    nodes = ["B+", *(f"N{k}" for k in range(1, count))]
    for k, node in enumerate(nodes):
        far = nodes[k + 1] if k + 1 < count else "ground"
        lines += [f"{node} -- R{k + 1} 1K -- {far}", f"{node} -- R{k + 101} 47K -- ground"]
    return written(folder, "ladder.stage", lines)


@pytest.fixture(scope="module")
def ladder(tmp_path_factory: pytest.TempPathFactory) -> tuple[Paper, list[tuple[float, float]]]:
    stage = load_stage(many(tmp_path_factory.mktemp("ladder"), 22))
    layout = lay_out(stage)
    return on_paper(draw(stage, layout=layout), layout), [
        (s.x * UNIT, s.y * UNIT) for s in layout.symbols
    ]


def test_every_part_is_whole_on_some_piece(
    ladder: tuple[Paper, list[tuple[float, float]]]
) -> None:
    paper, parts = ladder
    assert len(paper.pieces) > 1
    views = [tuple(map(float, found.groups())) for p in paper.pieces if (found := VIEW.search(p))]
    assert len(views) == len(paper.pieces)
    for x, y in parts:
        assert any(
            left + 0.3 * UNIT <= x <= left + width - 0.3 * UNIT
            and top + 0.3 * UNIT <= y <= top + height - 0.3 * UNIT
            for left, top, width, height in views
        ), (x, y)


def test_pieces_can_be_read_on_their_paper(
    ladder: tuple[Paper, list[tuple[float, float]]]
) -> None:
    paper, _ = ladder
    room = LYING_ALONE if paper.pieces_lie else UPRIGHT_ALONE
    for piece in paper.pieces:
        found = VIEW.search(piece)
        assert found is not None
        width, height = float(found[3]), float(found[4])
        assert min(room[0] / width, room[1] / height) >= LEAST * 0.999


def test_a_small_drawing_is_left_whole() -> None:
    (figure,) = made(LINE).figures
    assert figure.paper.pieces == ()
    assert not figure.paper.lying


CHROMIUM = shutil.which("chromium")
SWITCHES = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--allow-file-access-from-files", "--virtual-time-budget=5000",
]
# The page in a frame of the width to be looked at; what sticks out at its right is named.
FRAME = """<!DOCTYPE html><iframe id="f" style="border:0;width:{width}px;height:900px"
src="{page}"></iframe><pre id="told"></pre><script>
document.getElementById('f').onload = function () {{
  var root = this.contentDocument.documentElement, out = [];
  this.contentDocument.querySelectorAll('body *').forEach(function (e) {{
    var hidden = e.closest('.drawing') && !e.classList.contains('drawing');
    if (!hidden && e.getBoundingClientRect().right > root.clientWidth + 0.5)
      out.push(e.tagName + ' ' + e.textContent.slice(0, 30));
  }});
  document.getElementById('told').textContent =
    'MEASURED ' + root.scrollWidth + ' ' + root.clientWidth + ' ' + out.length + ' '
    + out.slice(0, 3).join('; ');
}};</script>"""


def measured(text: str, width: int, folder: Path) -> tuple[int, int, str]:
    """(width of what is there, width of the frame, what sticks out)."""
    assert CHROMIUM is not None
    page = folder / "sheet.html"
    page.write_text(text, "utf-8")
    frame = folder / "frame.html"
    frame.write_text(FRAME.format(width=width, page=page.as_uri()), "utf-8")
    shown = subprocess.run(
        [CHROMIUM, *SWITCHES, f"--user-data-dir={folder / 'user'}", "--dump-dom", frame.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    ).stdout
    found = re.search(r">MEASURED (\d+) (\d+) \d+ ([^<]*)<", shown)
    assert found is not None, "the browser measured nothing"
    return int(found[1]), int(found[2]), found[3]


LONG = [
    f'stage "{"W" * 200}"', "rail B+ 22 V 5%", "Q1 npn silicon gain 80..300",
    "B+ -- R1 100K -- the-node-with-a-name-of-forty-characters -- R2 22K -- ground",
    "the-node-with-a-name-of-forty-characters -- Q1.base",
    f"B+ -- R3 6.8K -- {'W' * 40} -- Q1.collector", "Q1.emitter -- R4 1.5K -- ground",
    "Q1.emitter -- +C1 50 MFD 6V -- ground",
]


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
@pytest.mark.parametrize("width", [PHONE, PAPER])
@pytest.mark.parametrize("which", ["preamp", "set", "long names", "amplifier", "regulator"])
def test_nothing_sticks_out(which: str, width: int, tmp_path: Path) -> None:
    circuits = ROOT / "circuits"
    if which == "long names":
        found = made(written(tmp_path, "long.stage", LONG))
    else:
        found = made(*{
            "preamp": (PREAMP, READINGS), "set": (PREAMP, READINGS, LINE),
            "amplifier": (circuits / "split-rail-amplifier.stage",),
            "regulator": (circuits / "series-regulator.stage",),
        }[which])
    there, frame, out = measured(found.text, width, tmp_path)
    assert out == ""
    assert there <= frame <= width


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
def test_the_measurement_sees_what_sticks_out(tmp_path: Path) -> None:
    page = "<!DOCTYPE html><body><p style='width:900px'>wide</p></body>"
    there, frame, out = measured(page, PHONE, tmp_path)
    assert there > frame
    assert "wide" in out

"""The reader of pictures must not see what is not there, nor miss what is."""

from __future__ import annotations

import pytest

from biaspredict.report.drawing.readback import Unreadable, read_back

HEAD = '<svg xmlns="http://www.w3.org/2000/svg">'


def picture(*elements: str) -> str:
    return HEAD + "".join(elements) + "</svg>"


def wire(d: str) -> str:
    return f'<path class="wire" data-node="lies" d="{d}"/>'


def dot(x: float, y: float) -> str:
    return f'<circle class="dot" cx="{x}" cy="{y}" r="3"/>'


def part(ref: str, *points: tuple[str, float, float]) -> str:
    told = ";".join(f"{name},{x},{y}" for name, x, y in points)
    return f'<g class="part" data-ref="{ref}" data-shape="resistor" data-points="{told}"/>'


def end(what: str, name: str, x: float, y: float) -> str:
    return f'<g class="end" data-what="{what}" data-name="{name}" data-at="{x},{y}"/>'


def nets(*sets: set[str]) -> frozenset[frozenset[str]]:
    return frozenset(frozenset(one) for one in sets)


A = part("A", ("1", 0, 50), ("2", 0, 80))
B = part("B", ("1", 100, 50), ("2", 100, 80))
LOOSE = (wire("M0 80L0 90"), wire("M100 80L100 90"))


def test_wires_join_at_their_ends() -> None:
    svg = picture(A, B, wire("M0 50L0 20"), wire("M0 20L100 20"), wire("M100 20L100 50"), *LOOSE)
    assert read_back(svg) == nets({"A.1", "B.1"}, {"A.2"}, {"B.2"})


def test_names_on_wires_join_nothing() -> None:
    svg = picture(A, B, wire("M0 50L0 20"), wire("M100 20L100 50"), *LOOSE)
    assert read_back(svg) == nets({"A.1"}, {"B.1"}, {"A.2"}, {"B.2"})


def test_a_hop_does_not_join() -> None:
    svg = picture(
        A, B, wire("M0 50L0 10"), wire("M100 50L100 20"),
        wire("M-40 20H-5A5 5 0 0 1 5 20L100 20"), *LOOSE,
    )  # fmt: skip
    assert read_back(svg) == nets({"A.1"}, {"B.1"}, {"A.2"}, {"B.2"})


def test_a_dot_joins_wires_that_cross() -> None:
    svg = picture(
        A, B, wire("M0 50L0 10"), wire("M100 50L100 20"), wire("M-40 20L100 20"), dot(0, 20), *LOOSE
    )
    assert read_back(svg) == nets({"A.1", "B.1"}, {"A.2"}, {"B.2"})


def test_a_bare_crossing_is_refused() -> None:
    svg = picture(A, B, wire("M0 50L0 10"), wire("M100 50L100 20"), wire("M-40 20L100 20"), *LOOSE)
    with pytest.raises(Unreadable, match="without a dot or a hop"):
        read_back(svg)


def test_a_wire_ending_on_another_without_a_dot_is_refused() -> None:
    svg = picture(A, B, wire("M0 50L0 10"), wire("M0 20L100 20"), wire("M100 20L100 50"), *LOOSE)
    with pytest.raises(Unreadable, match="without a dot or a hop"):
        read_back(svg)


def test_wires_on_each_other_are_refused() -> None:
    svg = picture(A, B, wire("M0 50L0 10"), wire("M0 40L0 0"), wire("M100 20L100 50"), *LOOSE)
    with pytest.raises(Unreadable, match="on each other"):
        read_back(svg)


def test_a_lead_in_the_air_is_refused() -> None:
    with pytest.raises(Unreadable, match=r"A\.1 .* ends in the air"):
        read_back(picture(A, wire("M0 45L0 20"), wire("M0 80L0 90")))


def test_grounds_rails_and_links_of_one_name_are_one_net() -> None:
    svg = picture(
        A, B, wire("M0 50L0 20"), wire("M100 50L100 20"), *LOOSE,
        end("link", "K", 0, 20), end("link", "K", 100, 20),
        end("ground", "", 0, 90), end("ground", "", 100, 90),
    )  # fmt: skip
    assert read_back(svg) == nets({"A.1", "B.1"}, {"A.2", "B.2", "ground"})
    svg = svg.replace('data-name="K" data-at="100', 'data-name="L" data-at="100')
    assert read_back(svg) == nets({"A.1"}, {"B.1"}, {"A.2", "B.2", "ground"})

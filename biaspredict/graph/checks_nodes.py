"""Checks of nodes: what reaches ground, what sets the DC of a node, what leads nowhere."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.network import DC, EVERY, Network, Way
from biaspredict.graph.wording import listed, lone, parts_at, place_of, unplaced
from biaspredict.model.parts import POTS, Kind
from biaspredict.model.stage import GROUND, Stage


def no_path_to_ground(stage: Stage, net: Network) -> Iterator[Finding]:
    """Parts that nothing, not even a capacitor, joins to ground or a rail."""
    idle = unplaced(net)
    for nodes in net.islands(EVERY):
        parts = [ref for ref in parts_at(net, nodes) if ref not in idle]
        if GROUND in nodes or not parts:
            continue
        one = len(parts) == 1
        yield Finding(
            "no-path-to-ground",
            Gravity.STOP,
            (*parts, *nodes),
            f"{listed(parts)} {'has' if one else 'have'} no way to ground or to a rail.",
            "Leave the mains side of a transformer out of the stage; a secondary needs its ground."
            if any(stage.part(ref).kind is Kind.WINDING for ref in parts)
            else "Look on the sheet for the wire, the rail or the ground sign that was left out; "
            f"one of these nodes should be tied: {listed(nodes)}.",
            place_of(net, nodes),
        )


def no_dc_path(stage: Stage, net: Network) -> Iterator[Finding]:
    """Single nodes between capacitors and open switches."""
    for nodes in _floating(net):
        if len(nodes) != 1:
            continue
        (node,) = nodes
        branches = net.at(node)
        by = listed(f"{b.ref} (open)" if b.way is Way.OPEN else b.ref for b in branches)
        if node in net.ports:
            word = "output" if node in net.outputs else "input"
            behind = "into 47K" if word == "output" else "from 600"
            yield Finding(
                "no-dc-path",
                Gravity.NOTE,
                (node,),
                f"Nothing sets the DC at {node}: it hangs on {by} alone.",
                f"Say what stands outside, like `{word} {node} {behind}`. "
                f"Before reading {node} on the bench put about 100k from it to ground.",
                place_of(net, nodes),
            )
        else:
            yield Finding(
                "no-dc-path",
                Gravity.CHECK,
                (node, *parts_at(net, nodes)),
                f"Nothing sets the DC at {node}: no resistor is there, only {by}.",
                "Look for a resistor to ground or to a rail that was left out, or for a "
                "resistor entered as a capacitor.",
                place_of(net, nodes),
            )


def capacitor_islands(stage: Stage, net: Network) -> Iterator[Finding]:
    """Groups of parts that only capacitors and open switches join to the rest."""
    for nodes in _floating(net):
        if len(nodes) < 2:
            continue
        border = {
            branch.ref: branch
            for node in nodes
            for branch in net.at(node)
            if branch.other(node) not in nodes
        }
        within = [ref for ref in parts_at(net, nodes) if ref not in border]
        across = listed(
            f"{ref} (open)" if branch.way is Way.OPEN else ref for ref, branch in border.items()
        )
        yield Finding(
            "capacitor-island",
            Gravity.CHECK,
            (*within, *nodes),
            f"No DC reaches {listed(within or nodes)}: joined to the rest by {across} only.",
            "Look for a resistor, a wire or a ground sign that was left out at "
            f"{listed(nodes)}, or a resistor entered as a capacitor.",
            place_of(net, nodes),
        )


def _floating(net: Network) -> Iterator[tuple[str, ...]]:
    """Sets of nodes whose DC nothing sets, though something joins them to the rest."""
    joined = next(nodes for nodes in net.islands(EVERY) if GROUND in nodes)
    for nodes in net.islands(DC):
        if GROUND not in nodes and nodes[0] in joined and not lone(net, nodes[0]):
            yield nodes


def one_legged(stage: Stage, net: Network) -> Iterator[Finding]:
    """Leads that stand alone on their node."""
    idle = unplaced(net)
    for node, legs in net.legs.items():
        if not lone(net, node):
            continue
        ((part, terminal),) = legs
        if part.ref in idle:
            continue
        if part.kind in POTS and terminal != "wiper":
            yield Finding(
                "one-legged",
                Gravity.NOTE,
                (part.ref, node),
                f"The {terminal} of {part.ref} is joined to nothing.",
                f"Right where the sheet uses {part.ref} as a two-legged variable resistor; "
                "otherwise write where this end goes.",
                part.origin,
            )
            continue
        lead = f"lead {terminal}" if terminal in ("1", "2") else f"the {terminal}"
        at = "" if node == f"{part.ref}.{terminal}" else f", at {node}"
        yield Finding(
            "one-legged",
            Gravity.CHECK,
            (part.ref, node),
            f"Of {part.ref}, {lead} is joined to nothing{at}.",
            "Follow this lead on the sheet once more. A name spelled in two ways makes two "
            "nodes; if the stage ends here, write `input` or `output` for it.",
            part.origin,
        )

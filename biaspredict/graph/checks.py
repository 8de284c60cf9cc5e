"""What the wiring of a stage gives away before anything is computed.

Each check is a function (stage, network) -> findings; `CHECKS` lists them in the order in which
their findings are read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.graph import (
    checks_feeds,
    checks_nodes,
    checks_parts,
    checks_supply,
    checks_transistors,
)
from biaspredict.graph.network import Network
from biaspredict.model.stage import Stage

Check = Callable[[Stage, Network], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    checks_feeds.no_supply,
    checks_supply.no_rectifier,
    checks_supply.rail_and_rectifier,
    checks_feeds.rails_joined,
    checks_feeds.rail_shorted,
    checks_feeds.rail_not_used,
    checks_feeds.ports_misplaced,
    checks_nodes.no_path_to_ground,
    checks_nodes.no_dc_path,
    checks_nodes.capacitor_islands,
    checks_transistors.unfed_leads,
    checks_transistors.no_supply_path,
    checks_nodes.one_legged,
    checks_parts.never_placed,
    checks_parts.shorted_part,
    checks_transistors.terminals_joined,
    checks_parts.polarity_not_said,
    checks_parts.can_sections,
    checks_feeds.no_signal_path,
    checks_parts.odd_value,
    checks_feeds.unused_points,
)

_GRAVITIES = tuple(Gravity)


def connectivity(stage: Stage) -> tuple[Finding, ...]:
    """Every finding of every check, the gravest first."""
    net = Network(stage)  # a stage that is equal may have been written elsewhere
    found = [finding for check in CHECKS for finding in check(stage, net)]
    return tuple(sorted(found, key=lambda finding: _GRAVITIES.index(finding.gravity)))

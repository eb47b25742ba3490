"""A vacuum system as a network of openings and ducts, in closed form: an illustration and a test bed.

Every element has flow ~ sqrt(pressure), so it acts as a conductance C = Q / sqrt(p): an opening
C = Cd A sqrt(2 / rho), a duct with p = k Q^2 in series C / sqrt(1 + k C^2), branches add. Fan curve
V = p0 - a Q^2. Orifice law: Dols & Walton 2002; the network itself is derived. The resistances are
invented: signs and ratios carry over to a machine, absolute values do not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

Place = tuple[int, int]
"""(wing, row), both from 0, row 0 next to the tee."""


@dataclass(frozen=True)
class Plumbing:
    """Fan and ducts. `p0` Pa, `a` and all duct factors Pa/(m3/s)^2, `density` kg/m3.

    `trunk_leak`, `node_leak`: effective leaks (m2, Cd x area) in the trunk and at manifold nodes. `main`,
    `branch`: factors on the duct to a node and on a row's hose.
    """

    p0: float = 7500.0
    a: float = 1e6
    trunk: float = 8e4
    lead: float = 3e5
    between: float = 6e4
    hose: float = 7.5e6
    density: float = 1.2
    trunk_leak: float = 0.0
    node_leak: Mapping[Place, float] = field(default_factory=dict)
    main: Mapping[Place, float] = field(default_factory=dict)
    branch: Mapping[Place, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Solved:
    """Vacuum (Pa) at the fan and at every row, and the air flow (m3/s)."""

    fan: float
    rows: tuple[tuple[float, ...], ...]
    flow: float


def healthy(wings: int = 2, rows: int = 6, leak: float = 40e-6) -> list[list[float]]:
    """Return the effective leak (m2) of every meter of a sound machine."""
    return [[leak] * rows for _ in range(wings)]


def solve(leaks: Sequence[Sequence[float]], pipes: Plumbing | None = None) -> Solved:
    """Return the vacuum everywhere for the effective leaks (m2) of the meters, by wing and row."""
    pipes = pipes or Plumbing()
    scale = pipes.density / 1.2
    wings = [_wing(w, areas, pipes, scale) for w, areas in enumerate(leaks)]
    total = _opening(pipes.trunk_leak, pipes.density) + sum(start for _, start in wings)
    at_fan = _series(total, scale * pipes.trunk)
    fan = scale * pipes.p0 / (1 + scale * pipes.a * at_fan**2)
    tee = fan - scale * pipes.trunk * at_fan**2 * fan
    return Solved(fan, tuple(_outward(nodes, tee) for nodes, _ in wings), at_fan * math.sqrt(fan))


@dataclass(frozen=True)
class _Node:
    duct: float
    hose: float
    row: float
    onward: float


def _wing(wing: int, areas: Sequence[float], pipes: Plumbing, scale: float) -> tuple[list[_Node], float]:
    """Return the nodes of a wing from the tee outwards and its conductance seen from the tee."""
    nodes: list[_Node] = []
    down = 0.0
    for i in reversed(range(len(areas))):
        hose = scale * pipes.hose * pipes.branch.get((wing, i), 1.0)
        duct = scale * (pipes.lead if i == 0 else pipes.between) * pipes.main.get((wing, i), 1.0)
        row = _series(_opening(areas[i], pipes.density), hose)
        onward = row + _opening(pipes.node_leak.get((wing, i), 0.0), pipes.density) + down
        nodes.append(_Node(duct, hose, row, onward))
        down = _series(onward, duct)
    return nodes[::-1], down


def _outward(nodes: Sequence[_Node], vacuum: float) -> tuple[float, ...]:
    """Return the vacuum at each row of a wing for the vacuum at the tee."""
    rows = []
    for node in nodes:
        vacuum -= node.duct * _series(node.onward, node.duct) ** 2 * vacuum
        rows.append(vacuum - node.hose * node.row**2 * vacuum)
    return tuple(rows)


def _opening(effective_area: float, density: float) -> float:
    return effective_area * math.sqrt(2 / density)


def _series(conductance: float, duct: float) -> float:
    return conductance / math.sqrt(1 + duct * conductance**2)


def speed_to_restore(leaks: Sequence[Sequence[float]], pipes: Plumbing, wanted: float) -> float:
    """Return the fan speed ratio at which the last row of the first wing is back at `wanted` (Pa)."""
    return math.sqrt(wanted / solve(leaks, pipes).rows[0][-1])

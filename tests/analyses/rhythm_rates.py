"""How often the rhythm is right and wrong on simulated rows: `python tests/analyses/rhythm_rates.py --rows 5000`.

Without a fault nothing may be found, in a wave nothing but that wave; with a fault of one hole, or a wave, it should be
found after four disc turns. Prints one line a kind: share of rows, and how often each wrong name was given.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from analyses.drop_meter import PITCH_TIME, PLAIN, RAGGED, SKIPPING, Row, drawn, waving

from diag.analyses.catalogue import Analysed, Reading, analyse

FAULTLESS: Mapping[str, Callable[[int], tuple[Row, float]]] = {
    "plain": lambda seed: drawn(PLAIN, seed), "waves": waving,
    "jitter .3": lambda seed: drawn(RAGGED, seed), "15 % skips": lambda seed: drawn(SKIPPING, seed),
}
FAULTS = {
    "plugged": (replace(PLAIN, plugged=frozenset({7})), "plugged"),
    "double": (replace(PLAIN, doubling=frozenset({7})), "double"),
    "wave 15 %": (replace(PLAIN, wave=0.15), "wave"),
    "wave 10 %": (replace(PLAIN, wave=0.10), "wave"),
    "late .3 pitch": (replace(PLAIN, late={7: 0.3 * PITCH_TIME}), "late"),
}


def heard(row: Row, turns: float, seed: int) -> Analysed:
    """Return the rhythm analysis of so many disc turns of a simulated row."""
    given = {"target_spacing": row.pitch, "holes": float(row.holes)}
    return analyse("rhythm", Reading("spacings", tuple(row.spacings(turns, seed))), given)


def wrongly(row: Row, turns: float, seed: int) -> str:
    """Return what was found although it is not there, "" when nothing was; a wave is found within one of its kind."""
    found = heard(row, turns, seed)
    kind = found.word("kind") if found.results else "none"
    if kind == "none":
        return ""
    if kind == "wave" and row.wave:
        waves = turns * row.holes / row.wave_passes
        return "" if abs(turns * row.holes * row.pitch / found.number("period") - waves) <= 1.05 else "another wave"
    return kind


def false_rate(kind: str, rows: int) -> tuple[float, Counter[str]]:
    """Return the share of faultless rows in which something is found, and what."""
    names = Counter(name for seed in range(rows) if (name := wrongly(*FAULTLESS[kind](seed), seed)))
    return names.total() / rows, names


def power(fault: str, rows: int, turns: float = 4) -> float:
    """Return the share of rows in which a fault is found, by its kind (and hole)."""
    row, kind = FAULTS[fault]
    found = [heard(row, turns, seed) for seed in range(rows)]
    return sum(f.word("kind") == kind for f in found) / rows


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=5000)
    rows = parser.parse_args().rows
    for kind in FAULTLESS:
        share, names = false_rate(kind, rows)
        print(f"{kind:16s} {share:.4f} found wrongly  {dict(names)}", flush=True)
    for fault in FAULTS:
        print(f"{fault:16s} {power(fault, rows // 5):.3f} found in 4 turns", flush=True)


if __name__ == "__main__":
    main()

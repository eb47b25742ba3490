"""A knowledge base several times as large, made of renamed copies: for timings only."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

ENTRY = re.compile(r"^ *- (?:\{)?id: ([a-z][a-z0-9_]*)", re.MULTILINE)
COPIED = ("causes", "checks", "rules")


def enlarge(source: Path, target: Path, times: int) -> Path:
    """Write `times` copies of causes, checks, rules and findings with ids of their own into a new folder."""
    shutil.copytree(source, target)
    files = [p for name in COPIED for p in sorted((target / name).glob("*.yaml"))] + [target / "findings.yaml"]
    texts = {p: p.read_text(encoding="utf-8") for p in files if p.exists()}
    ids = {i for text in texts.values() for i in ENTRY.findall(text)}
    word = re.compile(rf"(?<![\w@])({'|'.join(sorted(ids, key=len, reverse=True))})(?![\w])")
    for number in range(1, times):
        for path, text in texts.items():
            renamed = word.sub(lambda m, n=number: f"{m.group(1)}_{n}", text)
            copy = path.with_name(f"{path.stem}_{number}.yaml")
            if path.parent == target:
                entries = renamed.partition("findings:\n")[2]
                path.write_text(path.read_text(encoding="utf-8") + entries, encoding="utf-8")
            else:
                copy.write_text(renamed, encoding="utf-8")
    return target

"""A knowledge base several times as large, made of renamed copies: for timings only."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

ENTRY = re.compile(r"^ *- (?:\{)?id: ([a-z][a-z0-9_]*)", re.MULTILINE)
COPIED = ("causes", "checks", "rules")
OTHERS = ("parts: ", "hazards: ", "verify: ", "tools: ", "cautions: ")


def enlarge(source: Path, target: Path, times: int) -> Path:
    """Write `times` copies of causes, checks, rules and findings with ids of their own into a new folder."""
    shutil.copytree(source, target)
    files = [p for name in COPIED for p in sorted((target / name).glob("*.yaml"))] + [target / "findings.yaml"]
    texts = {p: p.read_text(encoding="utf-8") for p in files if p.exists()}
    ids = {i for text in texts.values() for i in ENTRY.findall(text)}
    longest_first = "|".join(sorted(ids, key=len, reverse=True))
    word = re.compile(rf"(?<![\w@])(?<!limit: )(?<!above: )(?<!below: )({longest_first})(?![\w])")
    for number in range(1, times):
        for path, text in texts.items():  # a part or hazard may have the name of a check, and its list is not copied
            renamed = "\n".join(
                line if line.lstrip(" -{").startswith(OTHERS) else word.sub(rf"\g<1>_{number}", line)
                for line in text.split("\n"))
            copy = path.with_name(f"{path.stem}_{number}.yaml")
            if path.parent == target:
                entries = renamed.partition("findings:\n")[2]
                path.write_text(path.read_text(encoding="utf-8") + entries, encoding="utf-8")
            else:
                copy.write_text(renamed, encoding="utf-8")
    return target

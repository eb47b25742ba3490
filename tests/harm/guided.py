"""One kind of input under atheris: python tests/harm/guided.py KIND RUNS SEED. A crash is a failure, with its input."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]


def main(name: str, runs: str, seed: str) -> None:
    """Import with branches counted, put the examples into a corpus, run."""
    import atheris

    with atheris.instrument_imports(include=["diag.figures", "diag.units", "diag.text", "diag.hear", "diag.record",
                                             "diag.knowledge.yamlfile", "diag.store.exchange"]):
        from harm import kinds
    kind = kinds.KINDS[name]
    corpus = Path(tempfile.mkdtemp(prefix="harm-corpus-"))
    for number, example in enumerate(kind.seeds()):
        (corpus / str(number)).write_bytes(example)
    words = corpus.with_suffix(".dict")
    quoted = ["".join(f"\\x{b:02x}" for b in w.encode()) for w in kind.words() if 0 < len(w.encode()) <= 60]
    words.write_text("".join(f'"{w}"\n' for w in quoted))
    atheris.Setup([sys.argv[0], f"-runs={runs}", f"-seed={seed}", f"-dict={words}", "-max_len=4096", "-timeout=60",
                   "-rss_limit_mb=1500", f"-artifact_prefix={corpus}/crash-", str(corpus)],
                  lambda data: kinds.attempt(name, data))
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])

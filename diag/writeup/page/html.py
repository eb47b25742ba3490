"""The write-up as one HTML file: opens offline on a phone, light and dark, pictures inside, page one prints alone."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator, Mapping
from html import escape

from diag.text import clean, one_line
from diag.writeup.completeness import Readiness
from diag.writeup.page.audience import SERVICE
from diag.writeup.page.blocks import Block, Fields, Paragraph, Points, Quote, Section, Shot, Table
from diag.writeup.page.document import document
from diag.writeup.page.drawing import Picture
from diag.writeup.page.sentences import capital
from diag.writeup.page.svg import svg
from diag.writeup.story.model import Story

APPENDIX = "Appendix: method, readings, tests, record"
_DATE = re.compile(r"\b\d{4}-\d\d-\d\d\b")
STYLE = """
:root{color-scheme:light dark;--ink:#1b1e22;--pale:#6a7078;--rule:#c9cdd2;--band:#e3e6ea;--paper:#fff}
@media (prefers-color-scheme:dark){
:root{--ink:#e8eaec;--pale:#9aa1a8;--rule:#474d54;--band:#343a41;--paper:#16181b}}
body{font:15px/1.4 system-ui,sans-serif;color:var(--ink);background:var(--paper)}
body{max-width:46em;margin:0 auto;padding:1em}
h1{font-size:1.3em;margin:0}h2{font-size:1em;margin:1em 0 .2em}p{margin:.25em 0}ul{margin:.25em 0;padding-left:1.2em}
.banner{border:1.5px solid var(--ink);padding:.4em .6em;margin:.5em 0}
.d{white-space:nowrap}.paper{display:none}
.sub,figcaption{color:var(--pale)}
blockquote{margin:.3em 0 .3em 1em;font-style:italic}blockquote::before{content:"\\201C"}
blockquote::after{content:"\\201D"}
table{border-collapse:collapse;width:100%;font-size:.87em;margin:.3em 0}
th,td{text-align:left;vertical-align:top;border-bottom:1px solid var(--rule)}
th,td{padding:.15em .5em .15em 0;overflow-wrap:anywhere;min-width:4em}
.fields{display:grid;grid-template-columns:repeat(auto-fit,minmax(11em,1fr));gap:.15em 1em;margin:.3em 0}
.fields b{display:block;font-weight:400;font-size:.8em;color:var(--pale)}.scroll{overflow-x:auto}
figure{margin:.5em 0}figcaption{font-size:.85em}svg{width:100%;height:auto}
svg text{fill:var(--ink)}
svg .line{stroke:var(--ink);stroke-width:.6}svg .dash{stroke:var(--rule);stroke-width:.5}svg .band{fill:var(--band)}
svg .dot{fill:var(--ink)}svg .ring{fill:none;stroke:var(--ink);stroke-width:1}
svg .gap{fill:none;stroke:var(--ink);stroke-width:1;stroke-dasharray:2.5 1.5}
@media (max-width:34em){svg text{font-size:9px}}
img{max-width:48%;max-height:16em}
@media print{:root{--ink:#000;--pale:#444;--rule:#999;--band:#ddd;--paper:#fff}
body{font-size:9.5px;padding:0;max-width:none}
details{display:none}details.whole,.paper{display:block}summary{display:none}
@page{margin:12mm}h2{margin:.5em 0 .1em}}
"""


def render_html(story: Story, audience: str = SERVICE, ready: Readiness | None = None,
                photos: Mapping[str, bytes] | None = None) -> str:
    """Return the write-up as one HTML file. `photos`: kept copies by their hash, JPEG."""
    made = document(story, audience, ready)
    parts = [f"<h1>{_text(made.title)}</h1>", f'<p class="sub">{_text(made.subtitle)}</p>']
    if made.banner:
        lines = [f"<b>{_text(line)}</b>" for line in made.banner] + ([_text(made.lacks)] if made.lacks else [])
        parts.append('<div class="banner">' + "".join(f"<p>{line}</p>" for line in lines) + "</div>")
    parts += [p for s in made.front for p in _section(s, photos or {})]
    if made.appendix:
        inner = "".join(p for s in made.appendix for p in _section(s, photos or {}))
        whole = ' class="whole" open' if made.small else ""
        parts.append(f"<details{whole}><summary>{APPENDIX}</summary>{inner}</details>")
        parts += [] if made.small else [f'<p class="paper sub">{APPENDIX}: in the file, not on this sheet.</p>']
    title = escape(one_line(made.title))
    return (f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
            '<meta name="viewport" content="width=device-width,initial-scale=1">'
            f"<style>{STYLE}</style></head>\n<body>{chr(10).join(parts)}</body></html>\n")


def _text(text: str) -> str:
    """Return text escaped; a date is not broken at its hyphens."""
    return _DATE.sub(r'<span class="d">\g<0></span>', escape(one_line(text)))


def _section(section: Section, photos: Mapping[str, bytes]) -> Iterator[str]:
    if section.title:
        yield f"<h2>{_text(section.title)}</h2>"
    for block in section.blocks:
        yield from _block(block, photos)


def _block(block: Block, photos: Mapping[str, bytes]) -> Iterator[str]:
    if isinstance(block, Paragraph):
        yield f"<p><b>{_text(block.text)}</b></p>" if block.strong else f"<p>{_text(block.text)}</p>"
    elif isinstance(block, Quote):
        yield f"<blockquote>{'<br>'.join(_text(line) for line in clean(block.text).split(chr(10)))}</blockquote>"
    elif isinstance(block, Points):
        yield "<ul>" + "".join(f"<li>{_text(line)}</li>" for line in block.lines) + "</ul>"
    elif isinstance(block, Fields):
        yield ('<div class="fields">'
               + "".join(f"<div><b>{_text(a)}</b>{_text(b)}</div>" for a, b in block.pairs) + "</div>")
    elif isinstance(block, Picture):
        caption = _text(f"{block.title}. {capital(block.says)}.")
        yield f"<figure>{svg(block)}<figcaption>{caption}</figcaption></figure>"
    elif isinstance(block, Shot):
        yield _photo(block, photos)
    else:
        yield _table(block)


def _photo(shot: Shot, photos: Mapping[str, bytes]) -> str:
    kept = photos.get(shot.sha256)
    caption = f"<figcaption>Photo: {_text(shot.caption)}</figcaption>"
    if kept is None:
        return f"<figure>{caption}</figure>"
    data = base64.b64encode(kept).decode()
    return f'<figure><img alt="{escape(one_line(shot.caption))}" src="data:image/jpeg;base64,{data}">{caption}</figure>'


def _table(table: Table) -> str:
    title = f"<p>{_text(table.title)}</p>" if table.title else ""
    head = "".join(f"<th>{_text(h)}</th>" for h in table.headings)
    rows = "".join("<tr>" + "".join(f"<td>{_text(c)}</td>" for c in row) + "</tr>" for row in table.rows)
    return f'{title}<div class="scroll"><table><tr>{head}</tr>{rows}</table></div>'

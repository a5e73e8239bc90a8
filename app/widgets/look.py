"""Styles beyond the theme, and small pieces of HTML."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

import numpy as np
import streamlit as st

from colormatch.color.space import hex_from_lab, in_gamut
from colormatch.color.words import ACCEPTABLE, VISIBLE
from colormatch.errors import ColorMatchError, NothingToRank
from colormatch.records import Lab

#: ΔE values of the dashes on a bar.
DASHES = (VISIBLE, ACCEPTABLE)
#: Shortest and longest ΔE scale of bars: a close match still has a short bar, and a distant one leaves close ones
#: readable.
#: Our choice.
_SHORTEST_SCALE, _LONGEST_SCALE = 6.0, 12.0
_CSS = Path(__file__).with_name("look.css").read_text(encoding="utf-8")


def dress() -> None:
    """Add the style sheet to the page."""
    st.html(f"<style>{_CSS}</style>")


def offline() -> None:
    """Message for when the program does not answer; the style sheet shows it then."""
    st.html(
        '<div class="offline" role="status"><b>The bench program isn\'t answering.</b> Check whether it is still '
        "running on its computer, and restart it with <code>colormatch app</code> if it isn't. If this browser was "
        "shut out, open a new link in it. Your marks in the photo are kept here and sent as soon as it answers.</div>"
    )


#: Starts of Markdown and Streamlit markup: emphasis, code, links and pictures, HTML, formulas, colors and icons (a
#: colon before a word), lists and headings.
_MARKS = re.compile(r"[\\`*_\[\]<>$~&|]|:(?=[^\s\d])|^[-+#=]|(?<=^\d)[.)]", re.MULTILINE)

#: Text that GitHub's Markdown turns into links without markup: web and mail addresses.
_LINKS = re.compile(r"https?://|\bwww(?=\.)|(?<=[\w.+-])@(?=[-\w]+\.)", re.IGNORECASE)


def plain(text: str) -> str:
    """Escape user text for places where Streamlit would parse it as Markdown and, for example, load an image."""
    # A word joiner prevents the link; a backslash before the colon does not.
    return _MARKS.sub(r"\\\g<0>", _LINKS.sub("\\g<0>\u2060", text))


def capital(words: str) -> str:
    """A sentence's beginning; names further on keep theirs."""
    return words[:1].upper() + words[1:]


def facts(rows: Sequence[tuple[str, str]]) -> None:
    """A quiet list of subjects and statements, both plain text."""
    st.html(_facts(rows))


def _facts(rows: Sequence[tuple[str, str]]) -> str:
    heads = [f"<b>{escape(head)}</b>" if head else "" for head, _ in rows]
    items = "".join(f"<li>{head}{escape(text)}</li>" for head, (_, text) in zip(heads, rows, strict=True))
    return f'<ul class="facts">{items}</ul>'


#: Cautions shown at once; the others are folded. Our choice.
_AT_ONCE = 3


def cautions(rows: Sequence[tuple[str, str]]) -> None:
    """Cautions, most important first: the subject, if the text doesn't include it, and the text."""
    if not rows:
        return
    told, rest = _facts(rows[:_AT_ONCE]), rows[_AT_ONCE:]
    if rest:
        told += f"<details><summary>{len(rest)} more</summary>{_facts(rest)}</details>"
    st.html(f'<div class="cautions"><h3>Take care</h3>{told}</div>')


def sentences(lines: Sequence[str]) -> None:
    """A quiet list of plain sentences."""
    st.html('<ul class="facts">' + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>")


def numbered(lines: Sequence[str], done: int = 0) -> None:
    """Numbered plain sentences; the first ``done`` are marked as done."""
    items = "".join(
        f"<li{' class=done' if place < done else ' class=now' if place == done else ''}>{escape(line)}</li>"
        for place, line in enumerate(lines)
    )
    st.html(f'<ol class="steps">{items}</ol>')


def portions(rows: Sequence[tuple[str, str, str]]) -> str:
    """Content of a cup: name, amount in large type, and the same in other measures."""
    return "".join(
        f'<div class="portion"><span class="name">{escape(name)}</span><b>{escape(amount)}</b>'
        f'<span class="also">{escape(also)}</span></div>'
        for name, amount, also in rows
    )


def not_yet(head: str, lacking: str, query: dict[str, str]) -> None:
    """A page without content yet: what is missing, and a link to where it is supplied."""
    st.header(head)
    st.write(lacking)
    with st.container(key="go"):
        st.page_link("screens/photo.py", label="Back to the photo", query_params=query)


def refused(error: ColorMatchError, query: dict[str, str]) -> None:
    """Why no wash can be ranked, with a link to the shelf if it lacks something."""
    st.error(plain(str(error)))
    if isinstance(error, NothingToRank):
        st.page_link("shelf/swatches.py", label="**To my paints**", query_params=query)


def edge_to_edge(left: Lab, right: Lab, names: tuple[str, str]) -> str:
    """Two colors without a gap, on the gray of the page."""
    halves = "".join(f'<div style="background:{hex_from_lab(lab)}"></div>' for lab in (left, right))
    spoken = escape(f"{names[0]} beside {names[1]}")
    captions = "".join(
        f"<span>{escape(name + beyond(lab))}</span>" for name, lab in zip(names, (left, right), strict=True)
    )
    return f'<div class="pair" role="img" aria-label="{spoken}">{halves}</div><div class="pairnames">{captions}</div>'


def beyond(lab: Lab) -> str:
    """Note after the name of a color outside the screen's gamut; empty for others."""
    return "" if in_gamut(np.asarray(lab)) else ", more vivid than a screen can show"


def scale_end(highs: Iterable[float]) -> float:
    """End of the ΔE scale of bars with these upper ends; bars beyond the longest scale are cut."""
    return min(_LONGEST_SCALE, max(_SHORTEST_SCALE, *highs))


def range_bar(low: float, mean: float, high: float, end: float) -> str:
    """A bar from ``low`` to ``high`` with a line at ``mean``, on a ΔE scale from 0 to ``end`` with dashes."""

    def percent(value: float) -> float:
        return 100 * min(value, end) / end

    lines = "".join(f'<div class="mark" style="left:{percent(dash):.1f}%"></div>' for dash in DASHES)
    return (
        f'<div class="range" role="img" aria-label="expected ΔE {mean:.1f}, from {low:.1f} to {high:.1f}">{lines}'
        f'<div class="spread" style="left:{percent(low):.1f}%;width:{percent(high) - percent(low):.1f}%"></div>'
        f'<div class="mean" style="left:calc({percent(mean):.1f}% - 1px)"></div></div>'
    )


def wash_row(target: Lab, lab: Lab, head: str, text: str, bar: str) -> str:
    """One line of the ranking: colors edge to edge, text, bar."""
    halves = "".join(f'<div style="background:{hex_from_lab(color)}"></div>' for color in (target, lab))
    return (
        f'<div class="row"><div class="chips" role="img" aria-label="sound wood beside this wash">{halves}</div>'
        f'<div class="words"><b>{escape(head)}</b><br>{escape(text + beyond(lab))}</div>'
        f'<div class="bar">{bar}</div></div>'
    )


def picture(address: str, width: int, height: int, words: str) -> str:
    """A published picture; its size reserves the space while it loads."""
    return (
        f'<img src="{address}" width="{width}" height="{height}" alt="{escape(words)}" '
        'style="width:100%;height:auto;display:block">'
    )


def side_by_side(pictures: Sequence[tuple[str, str]], width: int, height: int) -> str:
    """Captioned pictures of equal size side by side, or stacked on a phone."""
    figures = "".join(
        f"<figure>{picture(address, width, height, words)}<figcaption>{escape(words)}</figcaption></figure>"
        for address, words in pictures
    )
    return f'<div class="figures">{figures}</div>'


def drawing(svg: str, words: str) -> str:
    """An SVG as an image, since Streamlit allows no SVG in its HTML."""
    content = b64encode(svg.encode()).decode()
    return f'<img src="data:image/svg+xml;base64,{content}" alt="{escape(words)}" style="max-width:100%">'


def job(address: str, size: tuple[int, int], name: str, lines: Sequence[str]) -> str:
    """One repair in the list: photo, name and details."""
    width, height = size
    photo = f'<img src="{address}" width="{width}" height="{height}" alt="">' if address else '<div class="none"></div>'
    said = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<div class="job"><div class="photo">{photo}</div><div><h3>{escape(name)}</h3><ul>{said}</ul></div></div>'

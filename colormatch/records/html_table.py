"""Results as HTML tables, for notebooks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def html_table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table of plain cells; every text is escaped."""
    top = "".join(f"<th>{escape(word)}</th>" for word in head)
    body = "".join("<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"

"""The bench app: its pages, and where an error is told."""

from __future__ import annotations

import logging

import streamlit as st

from app import look, session
from colormatch.errors import ColorMatchError

#: Script of each page, its name, and its place in the address.
PAGES = (("steps/photo.py", "Photo", ""), ("steps/match.py", "Match", "match"), ("steps/mix.py", "Mix", "mix"))


def main() -> None:
    """Run the page that the address asks for."""
    st.set_page_config(page_title="colormatch", layout="wide")
    pages = [st.Page(script, title=title, url_path=place, default=not place) for script, title, place in PAGES]
    page = st.navigation(pages, position="hidden")
    look.dress()
    # Links of our own: Streamlit's would lose the open repair from the page's address.
    with st.container(horizontal=True, gap="small", key="steps"):
        for one in pages:
            here = one.url_path == page.url_path
            st.page_link(one, label=f"**{one.title}**" if here else one.title, query_params=session.link())
    note = session.take_note()
    if note:
        st.error(note)
    try:
        page.run()
    except ColorMatchError as error:
        st.error(str(error))
    except Exception:
        logging.getLogger("colormatch.app").exception("A page failed")
        st.error(
            "The program ran into a fault of its own; your library is unharmed. "
            "Reload the page; if it happens again, report what stands in the terminal."
        )


main()

"""The bench app: its pages, and the display of errors."""

from __future__ import annotations

import logging

import streamlit as st

from app.screens import walk
from app.server import phone
from app.state import address, session
from app.state.library import stored, unwritable
from app.widgets import look
from colormatch.errors import ColorMatchError
from colormatch.records import Paint

#: Script, title and address of each page: first the steps of a repair in order, then the other pages.
PAGES = (
    ("screens/photo.py", "Photo", ""),
    ("screens/match.py", "Match", "match"),
    ("screens/mix.py", "Mix", "mix"),
    ("screens/check.py", "Check", "check"),
    ("shelf/swatches.py", "Swatches", "swatches"),
    ("screens/jobs.py", "Jobs", "jobs"),
    ("guide/guide.py", "Guide", "guide"),
)
#: Listed while the phone link is open.
PHONE = ("screens/connect.py", "Phone", "phone")
#: The same page when this machine itself requires links.
LINK = ("screens/connect.py", "Link", "phone")
#: Addresses of the pages that show the open repair.
OF_THE_REPAIR = ("", "match", "mix", "check")
#: Pages with photos of their own, named like their field; marks of the first photo are not visible there.
OWN_UNDO = ("check",)
#: Pages with values that depend on paints.
WITH_PAINTS = ("match", "mix")


def main() -> None:
    """Run the page requested by the address."""
    st.set_page_config(page_title="colormatch", layout="wide")
    listed = (*PAGES, PHONE if phone.door.at_home else LINK) if phone.door else PAGES
    pages = [st.Page(script, title=title, url_path=place, default=not place) for script, title, place in listed]
    page = st.navigation(pages, position="hidden")
    st.set_page_config(page_title=f"{page.title} - colormatch")
    look.dress()
    look.offline()
    _header(pages, page)
    note = session.take_note()
    if note:
        with st.container(key="note"):
            st.error(look.plain(note))
    word = session.take_word()
    if word:
        st.info(word)
    if reason := unwritable():
        st.warning(look.plain(reason))
    try:
        if page.url_path in OF_THE_REPAIR:
            _repair_line(page.url_path)
        page.run()
    except ColorMatchError as error:
        st.error(look.plain(str(error)))
    except Exception:
        logging.getLogger("colormatch.app").exception("A page failed")
        st.error(
            "The program had an internal error; your library is unharmed. Reload the page; if it happens again, report "
            "the message in the terminal."
        )
    if page.url_path in (*OF_THE_REPAIR, PHONE[2]):
        session.follow()  # also below an error: the page recovers by itself once the disk does


def _header(pages: list[st.Page], here: st.Page) -> None:
    """Links of our own: Streamlit's would drop the open repair from the page's address."""
    with st.container(horizontal=True, vertical_alignment="center", gap=None, key="steps"):
        for one in pages:
            label = f"**{one.title}**" if one.url_path == here.url_path else one.title
            if one.url_path == here.url_path and address.view():
                # A link to the current page would keep the view in its address.
                st.button(label, key="whole-shelf", on_click=address.go)
            else:
                st.page_link(one, label=label, query_params=session.link())


def _repair_line(place: str) -> None:
    """Show the open repair with its editable name, and what can be undone."""
    repair = session.current()
    if repair.id is None:
        return
    key = f"name-{repair.id}"
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="repair"):
        st.text_input(
            "Name of this repair",
            key=session.showing(key, repair.name),
            label_visibility="collapsed",
            icon=":material/edit:",
            # A page that is rerun in quick succession can return an empty box; that must not clear the name.
            on_change=session.changer("name", key, lambda text: text.strip() or repair.name),
        )
        for word, again in (("Undo", False), ("Redo", True)):
            of = place if place in OWN_UNDO else ""
            what = session.next_undo(again=again, of=of)
            key = word.lower()
            # A separate container: a button that moved into the other's place under a finger would lose the press.
            with st.container(key=f"{key}-place", width="content"):
                if what:
                    st.button(
                        f"{word} {look.plain(what)}", key=key, on_click=session.undo, kwargs={"again": again, "of": of}
                    )
    if repair.guided:
        walk.show(repair, place)
    elif place in WITH_PAINTS and not stored(Paint):
        walk.lent()


main()

"""Phone (or Link) page: a one-time link, as a QR code for the phone, to open the current repair in another browser."""

from __future__ import annotations

import streamlit as st

from app.repair.open_repair import OpenRepair
from app.server import phone
from app.server.gate import COOKIE
from app.state import session
from app.widgets import look

#: Interval between checks whether the link was used, seconds.
_LOOK_S = 2.0


def show() -> None:
    """The page, listed in the app's header only while links are required."""
    door = phone.door
    st.header("Open this in another browser" if door and not door.at_home else "Open this on the phone")
    if door is None:
        st.write("The phone link is closed. Start the program with: colormatch app --phone")
        return
    repair = session.current()
    with st.container():  # keeps the code below in its place, whatever is shown here
        if repair.photo:
            st.page_link(
                "screens/photo.py", label=f"**Continue with {look.plain(repair.name)}**", query_params=session.link()
            )
        elif repair.id is None and door.at_home:
            st.button("Start a repair and photograph it with the phone", key="empty", on_click=_begin)
    code, words = st.columns([2, 3], gap="large")
    with code:
        _code(door)
    with words:
        st.subheader("Who can connect, and how to end it")
        look.sentences(phone.WORDS if door.at_home else phone.WORDS_HERE)
        st.button("Shut out every other phone and browser", key="shut-out", on_click=_shut_out, args=(door,))
        st.write("This browser stays connected and can make new links.")


def _begin() -> None:
    with session.telling():
        session.keep(OpenRepair(name="To be photographed"))


def _shut_out(door: phone.Door) -> None:
    door.links.shut_out(but=st.context.cookies.get(COOKIE, ""))


@st.fragment(run_every=_LOOK_S)
def _code(door: phone.Door) -> None:
    """The code, renewed once it is used or expired."""
    link = session.phone_link(door)
    if door.at_home:
        st.html(look.drawing(phone.qr_svg(link), "QR code of the link"))
    st.write(
        ("Point the phone's camera at it" if door.at_home else "Open it in the other browser")
        + ": the repair that is open here opens there too. The link works once, within ten minutes; then a new one "
        "appears here."
    )
    st.code(link, language=None, wrap_lines=True)
    inside = door.links.inside
    st.write(f"{inside} browser{'' if inside == 1 else 's'} connected so far, including this one.")


show()

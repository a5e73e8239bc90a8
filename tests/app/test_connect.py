"""The page of one-time links: on the home network, and on a machine that several people use."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from app.server import phone
from app.server.gate import COOKIE
from app.server.phone import Door

PAGE = Path(__file__).parents[2] / "app" / "screens" / "connect.py"


@pytest.fixture(params=[True, False], ids=["--phone", "--ask-link"])
def door(request, monkeypatch) -> Door:
    made = Door("127.0.0.1:8610", at_home=request.param)
    monkeypatch.setattr(phone, "door", made)
    return made


@pytest.fixture
def page(library, door) -> AppTest:
    """By itself: its place in the address is not its module's name, so the tests' app can't go there."""
    return AppTest.from_file(str(PAGE), default_timeout=60)


def shown(app) -> str:
    return str(app.code[0].value)


def token(address: str) -> str:
    return address.rpartition("enter=")[2]


def test_it_makes_a_new_link_once_one_is_used_and_after_all_others_were_shut_out(door, page, monkeypatch):
    own, other = (door.links.enter(door.links.mint()) for _ in range(2))
    monkeypatch.setattr(type(st.context), "cookies", {COOKIE: own})
    app = page.run()
    first = shown(app)
    assert door.links.enter(token(first))
    second = shown(app.run())
    assert token(second) != token(first)
    app.button(key="shut-out").click().run()
    assert not app.exception
    third = shown(app)
    assert not door.links.waits(token(second))
    assert door.links.admit(own, lambda: None)
    assert not door.links.admit(other, lambda: None)
    assert door.links.enter(token(third))


def test_the_page_says_what_it_opens(door, page):
    app = page.run()
    told = " ".join(block.proto.body for block in app.get("html"))
    assert ("home network" in told) == ("QR code" in told) == door.at_home
    assert "Ctrl+C" in told


def test_it_is_in_the_header_only_while_links_are_asked_for(open_app, door, monkeypatch):
    def titles():
        return [link.proto.label for link in open_app().get("page_link")]

    assert ("Phone" if door.at_home else "Link") in titles()
    monkeypatch.setattr(phone, "door", None)
    assert not {"Phone", "Link"} & set(titles())

"""Nobody gets into the running app whom it did not let in; ``python -m tests.hostile.knock`` sends thousands more."""

from __future__ import annotations

import pytest

from tests.hostile.knock import answer, is_foreign, knock, started


@pytest.mark.parametrize("arguments", [(), ("--ask-link",), ("--phone", "127.0.0.1")], ids=" ".join)
def test_no_hostile_request_gets_in_and_the_link_is_still_good(arguments: tuple[str, ...]) -> None:
    with started(*arguments) as (own, link):
        assert knock(own, link, 300).total() == 300
        assert bool(link) == bool(arguments)
        query = f"/?enter={link}" if link else "/"
        request = f"GET {query} HTTP/1.1\r\nHost: {own}\r\nConnection: close\r\n\r\n".encode()
        assert answer(own, request) == (303 if link else 200)
        assert answer(own, request) == (403 if link else 200)


@pytest.mark.parametrize(
    ("head", "foreign"),
    [
        ("Host: 127.0.0.1:8610", False),
        ("Host: localhost:8610\r\nOrigin: http://localhost:8610", False),
        ("Host: rebound.example", True),
        ("Host: 127.0.0.1:8610\r\nOrigin: null", True),
    ],
)
def test_what_counts_as_foreign(head: str, foreign: bool) -> None:
    assert is_foreign(f"GET / HTTP/1.1\r\n{head}\r\n\r\n".encode(), "127.0.0.1:8610") is foreign

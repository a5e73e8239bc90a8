"""How long work tells how far it is."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")
#: Called with what is being done, in words such as "Checking photos", the number done and the number of all: before
#: each and after the last.
Progress = Callable[[str, int, int], None]


def told(items: Iterable[T], count: int, words: str, progress: Progress | None) -> Iterator[T]:
    """The items one by one, telling how far it is."""
    for done, item in enumerate(items):
        if progress:
            progress(words, done, count)
        yield item
    if progress and count:
        progress(words, count, count)


def renamed(progress: Progress | None, words: str) -> Progress | None:
    """The same callback, which says something else is being done."""
    return None if progress is None else lambda _, done, count: progress(words, done, count)

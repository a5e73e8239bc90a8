"""Progress callbacks for long operations."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")
#: Called with a description of the work, such as "Checking photos", the number done and the total: before each item and
#: after the last.
Progress = Callable[[str, int, int], None]


def told(items: Iterable[T], count: int, words: str, progress: Progress | None) -> Iterator[T]:
    """Yield the items, reporting progress."""
    for done, item in enumerate(items):
        if progress:
            progress(words, done, count)
        yield item
    if progress and count:
        progress(words, count, count)


def renamed(progress: Progress | None, words: str) -> Progress | None:
    """The same callback with another description."""
    return None if progress is None else lambda _, done, count: progress(words, done, count)

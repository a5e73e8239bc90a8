"""What is remembered of a computation that fails: an error of ours is an answer like any other.

Looking for a card that isn't there takes as long as finding one.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from colormatch.errors import ColorMatchError, LibraryError, PhotoTooLarge, PhotoUnreadable

P = ParamSpec("P")
T = TypeVar("T")


def returns_errors(compute: Callable[P, T]) -> Callable[P, T | ColorMatchError]:
    """The same, with an error of ours as its answer."""

    @wraps(compute)
    def answer(*args: P.args, **kwargs: P.kwargs) -> T | ColorMatchError:
        try:
            return compute(*args, **kwargs)
        except (LibraryError, PhotoUnreadable, PhotoTooLarge):
            raise  # the disk or the memory refused: the next time they may not
        except ColorMatchError as error:
            return error

    return answer


def unwrap(answer: T | ColorMatchError) -> T:
    """The answer, where it is no error."""
    if isinstance(answer, ColorMatchError):
        # Without what it went through before: it is raised again in every run, and would keep all of them.
        raise answer.with_traceback(None)
    return answer

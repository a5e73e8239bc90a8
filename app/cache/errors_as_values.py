"""Cache failed computations by returning errors as values.

Searching for a missing card takes as long as finding one.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from colormatch.errors import ColorMatchError, LibraryError, PhotoTooLarge, PhotoUnreadable

P = ParamSpec("P")
T = TypeVar("T")


def returns_errors(compute: Callable[P, T]) -> Callable[P, T | ColorMatchError]:
    """Wrap a function to return a :class:`ColorMatchError` instead of raising it."""

    @wraps(compute)
    def answer(*args: P.args, **kwargs: P.kwargs) -> T | ColorMatchError:
        try:
            return compute(*args, **kwargs)
        except (LibraryError, PhotoUnreadable, PhotoTooLarge):
            raise  # a full disk or memory may work the next time
        except ColorMatchError as error:
            return error

    return answer


def unwrap(answer: T | ColorMatchError) -> T:
    """Return the value, or raise it if it is an error."""
    if isinstance(answer, ColorMatchError):
        # Drop the old traceback: the error is raised again in every run, and would keep all of them alive.
        raise answer.with_traceback(None)
    return answer

"""What is worth telling while the work goes on, from where nothing prints to who does."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

__all__ = ["remark", "remarks_kept", "remarks_to"]

_hearer: ContextVar[Callable[[str], object]] = ContextVar("hearer", default=lambda sentence: None)


def remark(sentence: str) -> None:
    """Tell something in one sentence to whoever listens."""
    _hearer.get()(sentence)


@contextmanager
def remarks_to(hearer: Callable[[str], object]) -> Iterator[None]:
    """Let a function hear all remarks that are made meanwhile."""
    before = _hearer.set(hearer)
    try:
        yield
    finally:
        _hearer.reset(before)


@contextmanager
def remarks_kept() -> Iterator[list[str]]:
    """Give a list that takes all remarks that are made meanwhile; who listened hears them too."""
    hearer = _hearer.get()
    kept: list[str] = []

    def hear(sentence: str) -> None:
        kept.append(sentence)
        hearer(sentence)

    with remarks_to(hear):
        yield kept

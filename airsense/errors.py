"""The one error that a user's input can raise, in five parts."""

from __future__ import annotations

# Longer parts, as of a whole line of a log, are cut in their middle: seven lines of a terminal.
MAX_PART = 700


class InputError(Exception):
    """Bad input: a file, a setup key or a value that cannot be used.

    Parameters
    ----------
    what : str
        One line: what is wrong.
    where : str
        File with line, column or key.
    got : str
        What was found there.
    allowed : str
        What would have been accepted.
    fix : str
        How to mend it.
    """

    def __init__(self, what: str, *, where: str, got: str, allowed: str, fix: str) -> None:
        self.what, self.where, self.got, self.allowed, self.fix = (
            shortened(part) for part in (what, where, got, allowed, fix)
        )
        super().__init__(str(self))

    def __reduce__(self) -> tuple[object, ...]:
        """Survive the trip through a process pool."""
        return (_rebuild, (self.what, self.where, self.got, self.allowed, self.fix))

    def __str__(self) -> str:
        return (
            f"{self.what}\n  where: {self.where}\n  got: {self.got}\n"
            f"  allowed: {self.allowed}\n  fix: {self.fix}"
        )


def shortened(text: str) -> str:
    """Return a text that stays readable however long what was found is."""
    if len(text) <= MAX_PART:
        return text
    return f"{text[: MAX_PART // 2]} … {text[-MAX_PART // 2 :]}"


def _rebuild(what: str, where: str, got: str, allowed: str, fix: str) -> InputError:
    return InputError(what, where=where, got=got, allowed=allowed, fix=fix)

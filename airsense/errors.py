"""The one error that a user's input can raise, in five parts."""

from __future__ import annotations


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
        self.what = what
        self.where = where
        self.got = got
        self.allowed = allowed
        self.fix = fix
        super().__init__(str(self))

    def __reduce__(self) -> tuple[object, ...]:
        """Survive the trip through a process pool."""
        return (_rebuild, (self.what, self.where, self.got, self.allowed, self.fix))

    def __str__(self) -> str:
        return (
            f"{self.what}\n  where: {self.where}\n  got: {self.got}\n"
            f"  allowed: {self.allowed}\n  fix: {self.fix}"
        )


def _rebuild(what: str, where: str, got: str, allowed: str, fix: str) -> InputError:
    return InputError(what, where=where, got=got, allowed=allowed, fix=fix)

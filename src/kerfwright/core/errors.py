"""The one tree of errors: what arrived, what is accepted, what to do, and the exit code of each."""

from __future__ import annotations


class KerfwrightError(Exception):
    """Root of every error this package raises on purpose.

    The message is built from its parts so that no error can forget the remedy.
    """

    exit_code = 1

    def __init__(self, arrived: str, *, accepted: str = "", remedy: str = "", where: str = "") -> None:
        self.arrived = arrived
        self.accepted = accepted
        self.remedy = remedy
        self.where = where
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """The whole sentence a person reads."""
        head = f"{self.where}: {self.arrived}" if self.where else self.arrived
        parts = [head, f"Accepted: {self.accepted}" if self.accepted else "", self.remedy]
        return " ".join(part if part.endswith("?") else part.rstrip(".") + "." for part in parts if part)

    def located(self, where: str) -> KerfwrightError:
        """The same error with its place put in front (outermost first)."""
        joined = f"{where}: {self.where}" if self.where else where
        return type(self)(self.arrived, accepted=self.accepted, remedy=self.remedy, where=joined)

    def __str__(self) -> str:
        return self.message


class InputError(KerfwrightError, ValueError):
    """A file or option says something that cannot be used."""

    exit_code = 2


class BuildError(InputError):
    """The piece as asked for cannot be built in wood."""

    exit_code = 3


class RecipeRangeError(InputError):
    """A recipe was asked about a place that was never burnt."""

    exit_code = 4


class PlanError(InputError):
    """This machine or this board cannot make the part."""

    exit_code = 5


class FolderError(KerfwrightError, OSError):
    """A file or folder could not be read or written; nothing half-made is left."""

    exit_code = 6


class SelfCheckError(KerfwrightError, RuntimeError):
    """A written program failed its own check: a fault of ours, nothing was handed out."""

    exit_code = 70


EXIT_CODES: dict[int, str] = {
    0: "done",
    2: "a file or option says something that cannot be used",
    3: "the piece as asked for cannot be built in wood",
    4: "the recipe was never burnt there",
    5: "this machine or board cannot make the part",
    6: "a file or folder could not be read or written",
    70: "our own check of a program failed; nothing was written",
    130: "stopped by the person; nothing half-made is left",
}

"""What can be asked in the browser: one row a job, with its trays for files."""

from __future__ import annotations

from dataclasses import dataclass

ENGINE, CLAIMS = "engine", "claims"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tray:
    """A place to drop files; `key` is also the folder that they are put in."""

    key: str
    title: str
    hint: str
    needed: bool = False
    many: bool = True
    logs: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A job: what it answers, the trays that it takes, and the further figures of its form."""

    key: str
    question: str
    says: str
    trays: tuple[Tray, ...]
    figures: tuple[str, ...] = ()

    @property
    def has_logs(self) -> bool:
        """Whether the job reads logs, so that their columns are shown before the answer."""
        return any(tray.logs for tray in self.trays)


_SETUP = Tray(
    key=ENGINE,
    title="Or a setup file",
    hint="engine.toml, and the tables that it names; engine and weather above are then not used.",
    logs=False,
)

KINDS = {
    kind.key: kind
    for kind in (
        Kind(
            key="compare",
            question="Is the gain real, and is it the intake's?",
            says="Logs taken before and after a change of the intake.",
            trays=(
                Tray(key="before", title="Before", hint="One log a run.", needed=True),
                Tray(key="after", title="After", hint="One log a run.", needed=True),
                _SETUP,
            ),
            figures=("rpm", "margin", "weather"),
        ),
        Kind(
            key="check",
            question="Does the air flow sensor read true?",
            says="One log or more of one and the same car and intake.",
            trays=(Tray(key="logs", title="Logs", hint="One log a run.", needed=True), _SETUP),
            figures=("rpm",),
        ),
        Kind(
            key="rescale",
            question="What should the sensor's table be now?",
            says="Logs with the new tube and the table in force; logs with the old tube help much.",
            trays=(
                Tray(key="logs", title="Logs with the new tube", hint="One a run.", needed=True),
                Tray(key="baseline", title="Logs with the old tube", hint="If there are any."),
                Tray(
                    key="table",
                    title="Table in force",
                    hint="CSV: signal and flow, units in the headers.",
                    needed=True,
                    many=False,
                    logs=False,
                ),
                Tray(
                    key="old_table",
                    title="Table of the old tube",
                    hint="CSV; only where those logs hold no air flow.",
                    many=False,
                    logs=False,
                ),
                _SETUP,
            ),
            figures=("share",),
        ),
        Kind(
            key="audit",
            question="Does a published comparison hold?",
            says="The printed figures, typed into a table; no log is needed.",
            trays=(
                Tray(
                    key=CLAIMS,
                    title="Or a file of claims",
                    hint="claims.toml, and the table it names; what is typed is then not used.",
                    logs=False,
                ),
            ),
        ),
    )
}

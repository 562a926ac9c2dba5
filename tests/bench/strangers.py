"""Campaigns of a simulator that shares nothing with this one, against what was planted.

Run as `python -m tests.bench.strangers [DIR]`: one folder a campaign, with `engine.toml`, logs
`before_*.csv` and `after_*.csv`, and `truth.json` with plain fractions.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from airsense.errors import InputError
from airsense.jobs.compare import run
from tests.bench.answers import Answer, answer_of

FOLDER = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "strangers"
# Where another weighting of a drive's samples gives another figure, the number does not judge.
FIGURE_BY_WEIGHT = frozenset({"drive_leak", "drive_pulsation"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One campaign: its truth, and what was said of it."""

    name: str
    truth: dict[str, float]
    note: str
    answer: Answer | None
    refused: str
    run_s: float

    def inside(self, key: str) -> bool | None:
        """Return whether an interval holds its truth; none where none is given."""
        found = self.answer.interval(key) if self.answer else None
        return None if found is None else found.contains(self.truth[key])


def campaigns(root: Path) -> list[Path]:
    """Return the folders that hold a campaign, in order."""
    return sorted(f for f in root.iterdir() if (f / "truth.json").is_file())


def logs_of(folder: Path) -> tuple[list[Path], list[Path]]:
    """Return the logs of a campaign before and after."""
    before, after = (sorted(folder.glob(f"{side}_*.csv")) for side in ("before", "after"))
    return before, after


def judge(folder: Path) -> Row:
    """Compare the logs of one campaign."""
    told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    start = time.perf_counter()
    answer, refused = None, ""
    try:
        answer = answer_of(run(folder / "engine.toml", *logs_of(folder)))
    except InputError as error:
        refused = error.what
    return Row(
        name=folder.name,
        truth={k: v for k, v in told.items() if isinstance(v, float | int)},
        note=told.get("note", ""),
        answer=answer,
        refused=refused,
        run_s=time.perf_counter() - start,
    )


def lines(row: Row) -> list[str]:
    """Return what is printed of a campaign."""
    out = [f"\n{row.name}: {row.note}  [{row.run_s:.2f} s]"]
    if row.answer is None:
        return [*out, f"  REFUSED: {row.refused}"]
    out.append(f"  verdict {row.answer.verdict}; reading {row.answer.reading_cause}")
    out.append(f"  causes {row.answer.leading}")
    out.append(f"  logs {row.answer.segments}")
    for key, truth in row.truth.items():
        found = row.answer.interval(key)
        shown = "not given"
        if found is not None:
            shown = f"{_pc(found.value)} ({_pc(found.low)} to {_pc(found.high)})"
        held = {True: "inside", False: "OUTSIDE", None: "-"}[row.inside(key)]
        out.append(f"  {key:26} truth {_pc(truth)}  {shown:34} {held}")
    return out


def _pc(fraction: float) -> str:
    return f"{100.0 * fraction:+6.2f} %"


def summary(rows: Sequence[Row]) -> str:
    """Return how many campaigns hold all that they give a truth for."""
    judged = [r for r in rows if r.name not in FIGURE_BY_WEIGHT]
    whole = sum(
        all(r.inside(key) is not False for key in r.truth) and not r.refused for r in judged
    )
    asked = [r.inside(key) for r in judged for key in r.truth]
    return (
        f"\n{len(rows)} campaigns, {sum(bool(r.refused) for r in rows)} refused; of {len(judged)} "
        f"judged by figures {whole} hold all; {asked.count(True)} intervals hold, "
        f"{asked.count(False)} miss, {asked.count(None)} not given"
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    given = parser.parse_args()
    rows = []
    for folder in campaigns(given.folder):
        rows.append(judge(folder))
        print("\n".join(lines(rows[-1])), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    main()

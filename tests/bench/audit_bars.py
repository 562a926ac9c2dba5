"""How often an audit accuses the honest, supports what can be decided, and finds what is false.

`python -m tests.bench.audit_bars [HONEST] [AGAINST]` prints the counts; 2,000 and 500 by default,
about twenty minutes.
"""

from __future__ import annotations

import sys
import tomllib
from collections import Counter

from airsense.claims.findings import Outcome
from airsense.claims.verdict import Verdict
from airsense.jobs.audit import AuditResult, audit
from airsense.setup.claims import Claims
from tests.faults.audit_publications import Publication, contradiction, honest

# Scatter by name: degrees of freedom (0 is normal), and whether the days differ without a word.
SCATTERS = {
    "normal": (0.0, False),
    "Student, 8 degrees of freedom": (8.0, False),
    "normal, two days that are not printed": (0.0, True),
}


def audit_of(made: Publication) -> AuditResult:
    """Return the audit of a publication."""
    return audit(Claims.model_validate(tomllib.loads(made.toml())), source="claims.toml")


def main(n_honest: int = 2000, n_against: int = 500) -> None:
    """Print the counts."""
    for name, (dof, unsaid) in SCATTERS.items():
        verdicts: Counter[str] = Counter()
        checks: Counter[str] = Counter()
        decidable = supported = 0
        for seed in range(n_honest // 2):
            made, decided = honest(seed, dof=dof, unsaid_days=unsaid)
            result = audit_of(made)
            verdict = result.verdicts[0].verdict
            verdicts[verdict.value] += 1
            decidable += decided
            supported += decided and verdict is Verdict.SUPPORTED
            checks.update(
                f.check.value for f in result.findings if f.outcome is Outcome.CONTRADICTED
            )
        print(f"{name}: {dict(verdicts)}; decidable {decidable}, supported {supported}")
        print(f"  contradicted findings: {dict(checks)}")
    found = Counter(
        audit_of(contradiction(seed)).verdicts[0].verdict.value for seed in range(n_against)
    )
    print(f"contradictions: {dict(found)}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

"""Impossible geometry is refused in five parts."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from airsense.cli.main import cli
from airsense.errors import InputError

BAD = {
    "nothing to compare": (["--bore-before", "82"], "--bore-after"),
    "metres": (["--bore-before", "0.082", "--bore-after", "0.079"], "10 to 400 mm"),
    "negative": (["--bore-before", "82", "--bore-after", "-79"], "10 to 400 mm"),
    "nan": (["--bore-before", "nan", "--bore-after", "79"], "10 to 400 mm"),
    "flow": (["--bore-before", "82", "--bore-after", "79", "--flow", "-5"], "g/s"),
    "depth": (["--bore-before", "82", "--bore-after", "79", "--film-depth", "90"], "mm"),
    "skew": (["--bore-before", "82", "--skew", "-80", "1"], "%"),
    "half-width": (["--bore-before", "82", "--skew", "5", "-1"], "%"),
    "uncertainty": (
        ["--bore-before", "82", "--bore-after", "79", "--bore-uncertainty", "0"],
        "mm",
    ),
    "straight": (["--bore-before", "82", "--bore-after", "79", "--straight", "-1"], "mm"),
}


@pytest.mark.parametrize("name", BAD)
def test_impossible_geometry(name):
    args, allowed = BAD[name]
    answer = CliRunner().invoke(cli, ["tube", *args], standalone_mode=False)
    assert isinstance(answer.exception, InputError)
    error = answer.exception
    assert allowed in error.allowed
    assert all((error.what, error.where, error.got, error.fix))


def test_a_missing_bore_is_wrong_usage():
    answer = CliRunner().invoke(cli, ["tube"])
    assert answer.exit_code == 2

"""Bad claims files: a five-part error that names file, line or key, never a traceback."""

import pytest
from click.testing import CliRunner

from airsense.cli.audit import command
from airsense.errors import InputError
from airsense.jobs.audit import run
from airsense.setup.template import Template, template_text

GOOD = """\
[engine]
displacement_l = 2.0
cylinders = 4
ignition = "compression"
[[result]]
intake = "old"
tune = "own"
engine_speed = "3500 rpm"
brake_power = "110 kW"
boost_pressure = "1.45 bar"
mass_air_flow = "138 g/s"
[[result]]
intake = "new"
tune = "own"
engine_speed = "3500 rpm"
brake_power = "113 kW"
boost_pressure = "1.49 bar"
mass_air_flow = "140 g/s"
[[claim]]
quantity = "brake_power"
from = "old"
to = "new"
tune = "own"
change = "+3 kW"
"""

BAD = {
    "not TOML": (GOOD + "[[claim", "line 25"),
    "no engine": (GOOD[GOOD.index("[[result]]") :], "engine is missing"),
    "misspelt section": (GOOD.replace("[engine]", "[motor]"), "unknown key motor"),
    "unknown key": (GOOD.replace("boost_pressure", "boost", 1), "boost"),
    "unknown unit": (GOOD.replace("138 g/s", "138 gs/x"), "line 11"),
    "wrong unit": (GOOD.replace("110 kW", "110 rpm"), "line 9"),
    "no unit": (GOOD.replace("1.45 bar", "1.45"), "line 10"),
    "number instead of text": (GOOD.replace('"110 kW"', "110"), "line 9"),
    "no number": (GOOD.replace("110 kW", "a lot of kW"), "line 9"),
    "thousands separator": (GOOD.replace("3500 rpm", "3,500 rpm", 1), "line 8"),
    "impossible size": (GOOD.replace("110 kW", "110 GW"), "line 9"),
    "litres as cm3": (GOOD.replace("2.0", "1998"), "line 2"),
    "no quantity in the claim": (GOOD.replace('quantity = "brake_power"\n', ""), "quantity"),
    "unknown quantity": (GOOD.replace('quantity = "brake_power"', 'quantity = "grunt"'), "grunt"),
    "claim in another unit": (GOOD.replace("+3 kW", "+3 psi"), "line 24"),
    "claim about what is not printed": (
        GOOD.replace('quantity = "brake_power"', 'quantity = "lambda"').replace("+3 kW", "+0.1"),
        "lambda",
    ),
    "claim about an unknown intake": (GOOD.replace('to = "new"', 'to = "newer"'), "newer"),
    "claim about an unknown tune": (
        GOOD.replace('tune = "own"\nchange', 'tune = "x"\nchange'),
        "x",
    ),
    "result without intake": (GOOD.replace('intake = "old"\n', ""), "intake"),
    "no results": (GOOD.split("[[result]]", maxsplit=1)[0], "result"),
    "a table of filling": (
        GOOD.replace("cylinders = 4", 'cylinders = 4\nvolumetric_efficiency = "ve.csv"'),
        "volumetric_efficiency",
    ),
    "unknown fuel": (GOOD.replace("[[result]]", '[fuel]\nname = "coal"\n[[result]]', 1), "coal"),
    "scatter in another unit": (
        GOOD.replace("[[result]]", '[publication]\nrun_scatter = "2 bar"\n[[result]]', 1),
        "run_scatter",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_claims_get_a_five_part_error(name, tmp_path):
    text, named = BAD[name]
    path = tmp_path / "claims.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        run(path)
    error = raised.value
    assert all((error.what, error.where, error.got, error.allowed, error.fix))
    assert named in str(error)
    assert "claims.toml" in error.where or "[fuel]" in error.where


def test_the_good_file_is_good(tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert run(path).verdicts


def test_two_tunes_need_a_tune_in_the_claim(tmp_path):
    path = tmp_path / "claims.toml"
    rows = GOOD[GOOD.index("[[result]]") : GOOD.index("[[claim]]")].replace('"own"', '"other"')
    path.write_text(
        rows.join(
            [GOOD.split("[[result]]", maxsplit=1)[0], GOOD[GOOD.index("[[result]]") :]]
        ).replace('tune = "own"\nchange', "change"),
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="which tune"):
        run(path)


@pytest.mark.parametrize(
    ("words", "code"), [((), 0), (("contradicted",), 0), (("undetermined",), 3)]
)
def test_fail_on_sets_the_exit_code(words, code, tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(GOOD, encoding="utf-8")
    options = [option for word in words for option in ("--fail-on", word)]
    assert CliRunner().invoke(command, [str(path), *options]).exit_code == code


def test_text_shows_verdict_requests_and_cautions(tmp_path):
    path, out = tmp_path / "claims.toml", tmp_path / "audit.json"
    path.write_text(GOOD, encoding="utf-8")
    done = CliRunner().invoke(command, [str(path), "--json", str(out)])
    assert done.exit_code == 0
    for words in ("old to new, own: power, +3 kW", "Ask the publisher for", "Caution:"):
        assert words in done.output
    assert "taken for granted" not in done.output
    assert out.exists()
    full = CliRunner().invoke(command, [str(path), "--all"])
    assert "Checks" in full.output
    assert len(full.output) > 3 * len(done.output)


TABLE = """\
intake;tune;Engine speed [rpm];Power [kW];Boost (bar);mass air flow [g/s];remarks
old;own;3 500;110,0;1,45;138;
new;own;3 500;112 to 114;1,49;140 ± 1;after lunch
"""
HEAD = GOOD[: GOOD.index("[[result]]")]
CLAIM = GOOD[GOOD.index("[[claim]]") :]


def test_a_table_beside_the_file_is_read_as_results(tmp_path):
    (tmp_path / "results.csv").write_text(TABLE, encoding="utf-8")
    path = tmp_path / "claims.toml"
    path.write_text(f'table = "results.csv"\n{HEAD}{CLAIM}', encoding="utf-8")
    result = run(path)
    assert result.verdicts[0].claim == "power, +3 kW"
    assert [file.role for file in result.inputs] == ["claims", "results"]
    assert any("remarks" in a.quantity and a.value == "not used" for a in result.assumptions)
    inline = tmp_path / "inline.toml"
    inline.write_text(f'table = """\n{TABLE}"""\n{HEAD}{CLAIM}', encoding="utf-8")
    assert run(inline).findings == result.findings


def test_a_bare_table_needs_the_engine_only(tmp_path):
    (tmp_path / "results.csv").write_text(TABLE, encoding="utf-8")
    (tmp_path / "engine.toml").write_text(HEAD, encoding="utf-8")
    result = run(tmp_path / "results.csv", tmp_path / "engine.toml")
    assert [(v.from_, v.to, v.quantity) for v in result.verdicts] == [("old", "new", "brake_power")]
    done = CliRunner().invoke(
        command, [str(tmp_path / "results.csv"), "--engine", str(tmp_path / "engine.toml")]
    )
    assert done.exit_code == 0
    assert "old to new, own: power, a change" in done.output


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("intake,power [kW]\n", "no rows"),
        ("box,power [kW]\na,1\n", "intake"),
        ("intake,power [kW]\na,many\n", "row 2"),
        ("intake,power [kW]\na,110,5\n", "3 cells under 2 headers"),
        ("intake,power [kW]\na,110 rpm\n", "row 2"),
        ("intake,boost pressure [bar]\na,1.4\nb,14000\n", "row 3"),
    ],
)
def test_a_bad_table_gets_a_five_part_error(text, named, tmp_path):
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    (tmp_path / "engine.toml").write_text(HEAD, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        run(tmp_path / "r.csv", tmp_path / "engine.toml")
    error = raised.value
    assert all((error.what, error.where, error.got, error.allowed, error.fix))
    assert named in str(error)


def test_a_missing_table_is_named(tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(f'table = "no.csv"\n{HEAD}{CLAIM}', encoding="utf-8")
    with pytest.raises(InputError, match=r"no\.csv"):
        run(path)


def test_the_fix_of_an_ambiguous_figure_reaches_the_user(tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(GOOD.replace("138 g/s", "1,138 kg/h"), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        run(path)
    assert "no thousands separator" in raised.value.fix


def test_the_template_shows_three_speeds_and_two_intakes_in_25_lines(tmp_path):
    text = template_text(Template.CLAIMS)
    path = tmp_path / "claims.toml"
    path.write_text(text, encoding="utf-8")
    result = run(path)
    assert (
        len({f.subject for f in result.findings if f.check.value == "volumetric_efficiency"}) == 6
    )
    assert all(f.outcome.value != "contradicted" for f in result.findings)
    short = text.split("# Leave out", maxsplit=1)[0]
    assert len(short.strip().splitlines()) < 25

"""Many setups in one run: the numbers of single runs, in order, whatever fails among them."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from answers.printed import on_terminal
from cli.small_tanks import write_tank
from cli.worker_tasks import FATAL, minus_one, squared_unless_fatal
from click.testing import CliRunner, Result

from lightdose.analysis import analyse
from lightdose.answers.check import failed_overview, overview_blocks
from lightdose.answers.dose import overview
from lightdose.cli import cli
from lightdose.cli.asking import Ask, SetupRequest
from lightdose.cli.many import _lost, in_order, labels, result_names, setup_files
from lightdose.errors import Problem, SetupError
from lightdose.files.setup_file import read_setup

TANKS = {"north/tank-1": 20.0, "north/tank-2": 35.0, "south/tank-1": 60.0}


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, list(words))


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with three tanks at different heights, the working folder beside it."""
    monkeypatch.chdir(tmp_path)
    for name, height_cm in TANKS.items():
        write_tank(tmp_path / "shop" / name, height_cm=height_cm)
    return tmp_path / "shop"


def break_tank(shop: Path) -> Path:
    """A fourth tank, between the others by name, that cannot be read."""
    folder = write_tank(shop / "north" / "tank-1b")
    text = (folder / "setup.toml").read_text(encoding="utf-8")
    broken = text.replace('length = "60 cm"', "length = 60").replace(
        'group = "sps-plating"', 'group = "spss"'
    )
    (folder / "setup.toml").write_text(broken, encoding="utf-8")
    return folder


@pytest.mark.identity
@pytest.mark.parametrize("command", ["dose", "hazard", "check"])
def test_json_of_many_holds_the_json_of_each(command: str, shop: Path) -> None:
    """A folder gives one object; its results are those of single runs, in sorted order, files absolute."""
    done = run(command, "shop", "--json")
    assert done.exit_code == 0, done.output
    whole = json.loads(done.stdout)
    assert whole["format"] == f"lightdose-{command}-many/1"
    files = [shop / name / "setup.toml" for name in TANKS]
    assert [entry["file"] for entry in whole["setups"]] == [str(file) for file in files]
    for entry, file in zip(whole["setups"], files, strict=True):
        single = run(command, os.path.relpath(file), "--json")
        assert entry["result"] == json.loads(single.stdout)


@pytest.mark.identity
@pytest.mark.parametrize("command", ["dose", "hazard"])
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_csv_of_many_is_the_rows_of_each_after_its_setup(command: str, dialect: str, shop: Path) -> None:
    """One table: the rows of the single tables, a column in front, and a schema with that column."""
    done = run(command, "shop", "--csv", "all.csv", "--csv-dialect", dialect)
    assert done.exit_code == 0, done.output
    separator = "," if dialect == "plain" else ";"
    expected: list[list[str]] = []
    for name in TANKS:
        file = os.path.join("shop", *name.split("/"), "setup.toml")
        assert run(command, file, "--csv", "one.csv", "--csv-dialect", dialect).exit_code == 0
        head, *rows = read("one.csv", separator)
        expected += [] if expected else [["setup", *head]]
        expected += [[file, *row] for row in rows]
    assert read("all.csv", separator) == expected
    fields = json.loads(Path("all.schema.json").read_text(encoding="utf-8"))["fields"]
    assert [field["name"] for field in fields] == expected[0]
    assert done.stderr.count("wrote all.") == 2
    assert f"kB, {len(expected) - 1} rows\n" in done.stderr


def read(file: str, separator: str) -> list[list[str]]:
    with open(file, encoding="utf-8-sig", newline="") as stream:
        return list(csv.reader(stream, delimiter=separator))


@pytest.mark.identity
@pytest.mark.parametrize("command", ["dose", "check"])
def test_output_does_not_depend_on_the_number_of_processes(command: str, shop: Path) -> None:
    """One process and two print the same bytes on both streams, a setup that fails among them."""
    break_tank(shop)
    one, two = (run(command, "shop", "--jobs", jobs) for jobs in "12")
    assert one.exit_code == two.exit_code == 2
    assert (one.stdout, one.stderr) == (two.stdout, two.stderr)
    assert run(command, "shop", "--json", "--jobs", "1").stdout == run(command, "shop", "--json").stdout


@pytest.mark.pinned
def test_setup_that_fails_is_told_and_does_not_stop_the_rest(shop: Path) -> None:
    """Every problem with its file on stderr, its line on stdout, the others computed; exit code 2."""
    broken = break_tank(shop)
    done = run("dose", "shop", "--csv", "all.csv", "--strict")
    assert done.exit_code == 2
    file = os.path.join("shop", "north", "tank-1b", "setup.toml")
    assert f"{file}: 2 problems\n" in done.stderr
    assert f"{file}:4:" in done.stderr
    assert "spss" in done.stderr
    lines = done.stdout.splitlines()
    rows = [line.split("  ")[0] for line in lines if line.startswith("shop")]
    assert sorted(rows) == sorted(setup_files(["shop"]))
    assert rows[0] == file
    assert lines[-1].startswith("4 setups: 1 not computed, ")
    assert {row[0] for row in read("all.csv", ",")[1:]} == set(setup_files(["shop"])) - {file}
    entry = json.loads(run("dose", "shop", "--json").stdout)["setups"][1]
    assert entry["file"] == str(broken / "setup.toml")
    single = json.loads(run("check", str(broken), "--json").stdout)["problems"]
    assert entry["problems"] == single


@pytest.mark.identity
def test_strict_exits_3_where_a_target_is_missed_and_nothing_failed(shop: Path) -> None:
    """Two setups as arguments, one of them off its range: 0 without --strict, 3 with it."""
    two = [str(shop / "north" / "tank-1"), str(shop / "south" / "tank-1")]
    assert run("dose", *two).exit_code == 0
    assert run("dose", *two, "--strict").exit_code == 3


@pytest.mark.identity
def test_variations_apply_to_every_setup(shop: Path) -> None:
    """One height for all gives the doses of single runs at that height; nonsense is told once."""
    done = run("dose", "shop", "--fixture-height", "30 cm", "--json")
    for name, entry in zip(TANKS, json.loads(done.stdout)["setups"], strict=True):
        single = run("dose", f"shop/{name}", "--fixture-height", "30 cm", "--json")
        assert entry["result"] == json.loads(single.stdout)
    for words, says in (
        (["--fixture-height", "0.3"], "without a unit"),
        (["--schedule", "typo.csv"], 'no file "typo.csv"'),
        (["--swap-fixture", "shop"], "is a folder"),
    ):
        refused = run("dose", "shop", *words)
        assert refused.exit_code == 2
        assert refused.stderr.count(says) == 1


@pytest.mark.identity
def test_files_of_each_setup_lie_in_a_folder_of_its_own(shop: Path) -> None:
    """Schedules of tanks of one name do not meet; they are those of single runs."""
    assert run("dose", "shop", "--csv-schedule", "out", "--jobs", "2").exit_code == 0
    assert sorted(p.name for p in Path("out").iterdir()) == ["north-tank-1", "north-tank-2", "south-tank-1"]
    run("dose", str(shop / "south" / "tank-1"), "--csv-schedule", "single")
    assert Path("out/south-tank-1/lamp-1.csv").read_bytes() == Path("single/lamp-1.csv").read_bytes()


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["dose", "shop", "--csv-schedule", "x.csv"], "--csv-schedule x.csv is one file"),
        (["report", "shop", "-o", "x.html"], "-o x.html is one file"),
        (["report", "shop", "shop/north/tank-1"], "a comparison takes two setups"),
        (["dose", "shop", "--colour-or-intensity"], "needs --json or --figures"),
        (
            ["dose", "shop", "--csv", "shop/north/tank-1/day-1.csv"],
            "is there already, lightdose did not write it",
        ),
        (["dose", "shop/north", "--csv-schedule", "shop/north"], "is the folder of a setup of this run"),
        (["check", "empty"], "there is no setup.toml in this folder"),
    ],
)
def test_what_many_setups_cannot_take_is_refused(words: list[str], says: str, shop: Path) -> None:
    """Exit code 2, one sentence, and no file is written or changed."""
    Path("empty").mkdir()
    before = {p: p.read_bytes() for p in Path.cwd().rglob("*") if p.is_file()}
    done = run(*words)
    assert done.exit_code == 2
    assert says in done.stderr
    assert {p: p.read_bytes() for p in Path.cwd().rglob("*") if p.is_file()} == before


@pytest.mark.identity
def test_report_of_many_writes_a_page_for_each_and_two_setups_still_compare(shop: Path) -> None:
    """A folder and --also give the pages of single runs; SETUP OTHER stays a comparison."""
    done = run("report", "shop/south", "--also", "shop/north/tank-1", "--jobs", "2", "--json")
    assert done.exit_code == 0, done.output
    entries = json.loads(done.stdout)["setups"]
    pages = [Path(entry["result"]["files"][0]["file"]) for entry in entries]
    assert pages == [Path.cwd() / "reports" / f"{part}-tank-1.html" for part in ("south", "north")]
    run("report", "shop/north/tank-1", "-o", "one.html")
    assert pages[1].read_bytes() == Path("one.html").read_bytes()
    pair = run("report", "shop/north/tank-1", "shop/south/tank-1", "-o", "pair.html", "--json")
    assert json.loads(pair.stdout)["other"] is not None


@pytest.mark.identity
def test_folder_stands_for_its_own_setup_or_for_all_below(shop: Path) -> None:
    """A folder with a setup.toml is one setup; without, all below, sorted, none twice or hidden."""
    write_tank(shop / ".old" / "tank")
    (shop / "south" / "again").symlink_to(shop, target_is_directory=True)
    files = [os.path.join("shop", *name.split("/"), "setup.toml") for name in TANKS]
    assert setup_files(["shop"]) == files
    assert setup_files([files[2], "shop", "shop/north/tank-1"]) == [files[2], *files[:2]]
    single = run("dose", "shop/north/tank-1", "--json")
    assert json.loads(single.stdout)["format"] == "lightdose-dose/1"
    with pytest.raises(SetupError):
        setup_files(
            [
                str(shop.parent / "nothing-here"),
                str(
                    shop / "north" / "..",
                ),
                str(empty(shop)),
            ]
        )


def empty(shop: Path) -> Path:
    (shop.parent / "bare").mkdir()
    return shop.parent / "bare"


@pytest.mark.identity
def test_names_of_results_differ_and_stay_in_their_folder(tmp_path: Path) -> None:
    """Names that would collide or climb get numbers and hyphens; labels tell setups apart."""
    files = [str(tmp_path / name / "setup.toml") for name in ("a b", "a-b", "A B", "..x", "con", "x" * 90)]
    names = result_names([*files, str(tmp_path / "plan.toml"), str(tmp_path / "plan" / "setup.toml")])
    assert len({name.lower() for name in names}) == len(names)
    for name in names:
        inside = (tmp_path / name).resolve()
        assert inside.parent == tmp_path.resolve()
        assert len(name) <= 70
    assert labels(files[:2]) == ["a b", "a-b"]
    assert labels([str(tmp_path / "setup.toml"), files[0]]) == [
        tmp_path.name,
        os.path.join(tmp_path.name, "a b"),
    ]


@pytest.mark.identity
def test_fault_in_one_setup_is_told_and_the_others_are_computed(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of ours in one of three: exit code 1, no traceback without --debug, two results."""
    read_one = SetupRequest.read

    def fail(self: SetupRequest) -> object:
        if "south" in self.path:
            raise ZeroDivisionError("made for this test")
        return read_one(self)

    monkeypatch.setattr(SetupRequest, "read", fail)
    done = run("dose", "shop", "--jobs", "1", "--json")
    assert done.exit_code == 1
    assert "ZeroDivisionError: made for this test" in done.stderr
    assert "Traceback" not in done.stderr
    kinds = [set(entry) - {"file"} for entry in json.loads(done.stdout)["setups"]]
    assert kinds == [{"result"}, {"result"}, {"problems"}]
    assert "Traceback" in run("dose", "shop", "--jobs", "1", "--debug").stderr


@pytest.mark.identity
def test_process_that_ends_loses_its_own_task_only() -> None:
    """Results in the order of tasks, -1 for the one whose process died, on three processes."""
    results = list(in_order(squared_unless_fatal, range(20), 3, minus_one))
    assert results == [-1 if n == FATAL else n * n for n in range(20)]


@pytest.mark.identity
def test_lost_process_is_told_as_a_fault_of_its_setup(shop: Path) -> None:
    """What stands for an answer that never came names its setup and its cause."""
    ask = Ask(SetupRequest(str(shop / "north" / "tank-1")), name="tank-1")
    lost = _lost(ask)
    assert (lost.file, lost.code, lost.row) == (ask.request.path, 1, None)
    assert "ended from outside" in lost.told[0].found


@pytest.mark.identity
def test_table_on_a_terminal_puts_the_worst_first(shop: Path) -> None:
    """What failed, then the coral furthest off; the count is the last line and fits the rows."""
    rows = [overview(analyse(read_setup(shop / name))) for name in TANKS]
    rows.append(failed_overview([Problem("no [tank]")], ("within", "worst coral")))
    names = [*TANKS, "[x]"]
    lines = on_terminal(overview_blocks(names, rows), 100)
    starts = [line.split("  ")[0] for line in lines if line.startswith(("[x]", "north", "south"))]
    assert starts[0] == "[x]"
    worst = sorted(zip(names, rows, strict=True), key=lambda named: named[1].concern)
    assert starts == [name for name, _ in worst]
    assert starts[1] == "south/tank-1"
    assert all(len(line) <= 100 for line in lines)
    assert lines[-1].startswith("4 setups: 1 not computed, ")


@pytest.mark.identity
@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_interrupt_ends_all_processes_and_leaves_no_half_file(shop: Path) -> None:
    """Ctrl-C while two processes work: exit code 130, no trace, no half file, no process left."""
    for n in range(40):
        write_tank(shop / "more" / f"tank-{n}")
    words = [sys.executable, "-m", "lightdose", "report", "shop", "--jobs", "2"]
    working = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True)
    assert working.stdout is not None
    begun = time.monotonic()
    # Four pages: both processes are at work by then, none is still being started.
    while len(list(Path("reports").rglob("*.html"))) < 4 and time.monotonic() - begun < 60:
        time.sleep(0.05)
    os.killpg(working.pid, signal.SIGINT)
    # Every process of the run holds these pipes: their end is the end of all.
    _, told = working.communicate(timeout=30)
    assert working.returncode == 130
    assert b"Traceback" not in told
    assert not list(Path.cwd().rglob(".lightdose-*"))


@pytest.mark.identity
def test_one_setup_loads_no_multiprocessing(shop: Path) -> None:
    """A single run pays nothing for what many need."""
    probe = (
        "import sys\nfrom lightdose.cli import cli\n"
        "try:\n    cli.main(['dose', 'shop/north/tank-1'])\nexcept SystemExit as stop:\n"
        "    assert stop.code == 0\n"
        "print(sorted(m for m in sys.modules if 'multiprocessing' in m or m == 'lightdose.cli.many'))"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"

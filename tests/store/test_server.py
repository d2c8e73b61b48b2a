"""Records on a lab's server: the same commands, one schema a trial, two roles. The server is made for these tests."""

import json
import multiprocessing
import os
import pwd
import re
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

import pytest
from sqlalchemy import insert, text
from tests_support import readings_table

from trials import steps
from trials.errors import InputError
from trials.store import records
from trials.store.records import chain, schema
from trials.store.records.place import VARIABLE, place_of, server

PASSWORD = "Sehr-geheim-4711"


def _programs():
    """Where the programs of PostgreSQL are, and why they cannot be used."""
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    places += [Path(found).parent for found in [shutil.which("initdb")] if found]
    return next((place for place in places if (place / "initdb").exists()), None)


def _user():
    """An unprivileged user for the server; None: whoever runs the tests is one."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name).pw_name
        except KeyError:
            continue
    pytest.skip("no unprivileged user to run a server as")


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """Address of a server of our own, with a database `trials` and the two roles."""
    pytest.importorskip("psycopg", reason="psycopg is not installed (extra lab)")
    programs = _programs()
    if programs is None:
        pytest.skip("no programs of PostgreSQL on this machine (initdb)")
    user = _user()
    home = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))  # the name of a socket is short
    if user:
        os.chown(home, pwd.getpwnam(user).pw_uid, -1)

    def run(*words):
        subprocess.run([str(programs / words[0]), *words[1:]], user=user, cwd=home, check=True, capture_output=True)

    options = f"-c listen_addresses= -c unix_socket_directories={home} -c fsync=off"
    run("initdb", "-D", str(home / "data"), "-U", "keeper", "-A", "trust", "-E", "UTF8", "--no-sync")
    try:
        run("pg_ctl", "-D", str(home / "data"), "-w", "-l", str(home / "log"), "-o", options, "start")
        roles = "CREATE ROLE trials_bench LOGIN; CREATE ROLE trials_engineer LOGIN; CREATE DATABASE trials;"
        for each in (*roles.split(";")[:-1], "GRANT CREATE ON DATABASE trials TO trials_engineer"):
            run("psql", "-h", str(home), "-U", "keeper", "-d", "postgres", "-c", each)
        yield lambda role: f"postgresql+psycopg://{role}:{PASSWORD}@/trials?host={home}"
    finally:
        run("pg_ctl", "-D", str(home / "data"), "-m", "immediate", "stop")
        shutil.rmtree(home, ignore_errors=True)


@pytest.fixture
def as_engineer(address, monkeypatch):
    monkeypatch.setenv(VARIABLE, address("trials_engineer"))


@pytest.fixture
def as_bench(address, monkeypatch):
    def become():
        monkeypatch.setenv(VARIABLE, address("trials_bench"))

    return become


@pytest.fixture
def shared(as_engineer, folder, plan, at):
    records.freeze(folder, plan, at=at)
    records.record_as_planned(folder, who="Operator", at=at)
    return folder


def some_readings(mark="KX7", first=30.0, field="rz5_um"):
    return readings_table(*((mark, i, field, first + i) for i in (1, 2, 3)))


def test_a_trial_lives_on_the_server(shared):
    assert not (shared / "trial.db").exists()
    assert records.record_readings(shared, some_readings(), who="Inspector").added == 3
    assert records.record_readings(shared, some_readings(), who="Inspector").ignored == 3
    found = records.load(shared)
    assert (
        len(found.readings) == 3 and len(found.cuts) == 8 and found.coupons["pressure_bar"].tolist()[:2] == [0.5, 0.9]
    )
    checked = steps.check(shared)
    assert checked.sound and checked.findings == () and f"schema trial_{found.identity}" in checked.place
    assert steps.status(shared).steps[1].done == 8
    with pytest.raises(InputError, match="frozen already"):
        records.freeze(shared, {})
    records.correct(shared, records.ReadingPlace("KX7", "rz5_um", 2), 35.5, "Engineer", "read again")
    assert records.load(shared).readings["value"].tolist() == [31.0, 33.0, 35.5]


def test_a_look_is_kept_on_the_server(shared):
    marks = records.load(shared).coupons["coupon"]
    for at, mark in enumerate(marks):
        records.record_readings(shared, some_readings(mark, 30.0 + at))
    found = records.load(shared)
    records.keep_look(shared, records.NewLook(1, True, records.fingerprint(found), "2", (), b"\x00a paper"))
    assert records.kept_look(shared, 1).paper == b"\x00a paper"
    assert steps.check(shared).sound and records.look_of(records.load(shared)) == 1


def test_each_trial_has_a_schema_of_its_own(shared, tmp_path, toml, plan):
    other = tmp_path / "other"
    other.mkdir()
    (other / "trial.toml").write_text(toml, encoding="utf-8")
    assert not records.load(other).frozen
    records.freeze(other, plan)
    assert len(records.load(other).cuts) == 0 and len(records.load(shared).cuts) == 8


def test_the_url_may_stand_in_the_trial_file_without_a_password(shared, address, monkeypatch):
    url = address("trials_engineer").replace(f":{PASSWORD}", "")
    path = shared / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[store]\n", f'[store]\nurl = "{url}"\n'), encoding="utf-8")
    monkeypatch.delenv(VARIABLE)
    assert len(records.load(shared).cuts) == 8
    path.write_text(text.replace("[store]\n", f'[store]\nurl = "{address("a")}"\n'), encoding="utf-8")
    with pytest.raises(InputError, match="holds a password; leave it out") as error:
        records.load(shared)
    assert PASSWORD not in str(error.value)


def test_of_two_people_who_correct_the_same_reading_the_second_is_told(shared):
    records.record_readings(shared, some_readings())
    asked = [steps.Correction("KX7", "rz5_um", value, 2) for value in ("35.5", "36.5")]
    seen = [steps.change(shared, one) for one in asked]  # both look at 32.0
    steps.correct(shared, asked[0], "Berg", "read again", seen[0])
    with pytest.raises(InputError, match=r"corrected by somebody else meanwhile; found 35.5; allowed: 32.0, as it was"):
        steps.correct(shared, asked[1], "Lind", "read again too", seen[1])
    assert 36.5 not in set(records.load(shared).all_readings["value"])


def test_the_bench_adds_readings_and_the_engineer_decides(shared, as_bench, tmp_path, toml, plan):
    as_bench()
    assert records.record_readings(shared, some_readings(), who="Inspector").added == 3
    refused = [
        lambda: records.correct(shared, records.ReadingPlace("KX7", "rz5_um", 2), 35.5, "Inspector", "no"),
        lambda: records.correct_row(shared, records.RowChange("coupon", "KX7", "note", "no"), "Inspector", "no"),
    ]
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "trial.toml").write_text(toml, encoding="utf-8")
    refused.append(lambda: records.freeze(tmp_path / "new", plan))
    for call in refused:
        with pytest.raises(InputError, match="your role on the server may not do this"):
            call()
    assert steps.check(shared).sound and len(records.load(shared).all_readings) == 3


AGAIN = "coupon,reading,rz5_um,again_because\n{mark},1,41,\n{mark},2,423,\n{mark},2,42,stylus jumped\n"


def test_the_bench_measures_again_and_overrules_nobody(shared, as_engineer, as_bench, address, monkeypatch):
    """A row with its reason is kept; with no program can the bench withdraw, move, or overrule a correction."""
    as_bench()
    file = shared.parent / "again.csv"
    file.write_text(AGAIN.format(mark="KX7"), encoding="utf-8")
    assert steps.record(shared, file, who="Inspector").added == 3
    found = records.load(shared)
    assert found.readings["value"].tolist() == [41.0, 42.0] and steps.check(shared).findings == ()
    first, newest = int(found.readings["id"].iloc[0]), int(found.readings["id"].iloc[-1])
    place = place_of(shared, found.trial)
    row = {"coupon": "KX7", "reading": 1, "field": "rz5_um", "value": 40.0, "why": "so", "replaces": first}
    row |= {"entered_at": "2026-01-01"}
    for changed in ({"value": None}, {"why": ""}, {"reading": 3}, {"replaces": newest}):
        with pytest.raises(InputError, match="row-level security"), schema.begun(place, writes=True) as connection:
            connection.execute(insert(schema.readings), row | changed)
    with pytest.raises(Undone), schema.begun(place, writes=True) as connection:  # what it may do
        connection.execute(insert(schema.readings), row)
        raise Undone
    monkeypatch.setenv(VARIABLE, address("trials_engineer"))
    records.correct(shared, records.ReadingPlace("KX7", "rz5_um", 1), None, "Engineer", "another coupon")
    assert len(records.load(shared).readings) == 1 and steps.check(shared).sound


class Undone(Exception):
    pass


def _write(folder, mark, barrier):
    barrier.wait()
    for first in (1, 2, 3, 4):
        rows = readings_table(*((mark, first * 10 + i, "rz5_um", 30.0 + i) for i in (1, 2, 3)))
        records.record_readings(folder, rows, who=mark)


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
@pytest.mark.parametrize("where", ["shared", "cut"])
def test_eight_writers_lose_and_double_nothing(where, request):
    place = request.getfixturevalue(where)
    before = len(records.load(place).journal)
    context = multiprocessing.get_context("fork")
    barrier = context.Barrier(8)
    marks = records.load(place).coupons["coupon"]
    writers = [context.Process(target=_write, args=(place, mark, barrier)) for mark in marks]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    assert [writer.exitcode for writer in writers] == [0] * 8
    found = records.load(place)
    assert len(found.all_readings) == len(found.readings) == 8 * 4 * 3
    assert not found.readings.duplicated(["coupon", "reading"]).any()
    assert len(found.journal) == before + 32 and steps.check(place).findings == ()


def _killed_before_the_seal(folder, plan):
    chain.seal = lambda connection: os.kill(os.getpid(), signal.SIGKILL)
    records.freeze(folder, plan)


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_a_freeze_that_is_killed_leaves_nothing_and_is_done_again(as_engineer, address, folder, plan):
    writer = multiprocessing.get_context("fork").Process(target=_killed_before_the_seal, args=(folder, plan))
    before = _schemas(folder)
    writer.start()
    writer.join(60)
    assert writer.exitcode == -signal.SIGKILL
    assert not records.load(folder).frozen and _schemas(folder) == before
    assert records.freeze(folder, plan).frozen
    assert steps.check(folder).findings == () and len(_schemas(folder)) == len(before) + 1


def _schemas(folder):
    """Schemas of trials on the server; whoever was killed is gone when they can be listed."""
    place = server(os.environ[VARIABLE], "0" * 12)
    with schema.begun(place, writes=True) as connection:
        listed = connection.execute(text("SELECT nspname FROM pg_namespace WHERE nspname LIKE 'trial\\_%'"))
        return sorted(listed.scalars())


def test_no_password_is_printed_or_stored(shared, address, monkeypatch, tmp_path):
    records.record_readings(shared, some_readings())
    found = (
        json.dumps(steps.plain(steps.check(shared))) + repr(records.load(shared)) + repr(server(address("x"), "a" * 12))
    )
    steps.export(shared, tmp_path / "out")
    steps.backup(shared, tmp_path / "copy")
    for path in (*shared.rglob("*"), *tmp_path.rglob("*")):
        assert not path.is_file() or PASSWORD.encode() not in path.read_bytes(), path
    texts = [found]
    for wrong in (
        address("nobody_here"),
        address("trials_bench").replace("/trials?", "/nowhere?"),
        "postgresql:/" + PASSWORD,
    ):
        monkeypatch.setenv(VARIABLE, wrong)
        with pytest.raises(InputError) as error:
            records.load(shared)
        texts += [str(error.value), repr(error.value.__cause__), repr(error.value.__context__)]
    assert not any(PASSWORD in text for text in texts)
    assert re.search("cannot be reached|no such role|does not exist", texts[1])


def test_a_trial_moves_between_file_and_server(shared, tmp_path, monkeypatch, cut_template, address):
    records.record_readings(shared, some_readings())
    steps.backup(shared, tmp_path / "copy")
    steps.export(shared, tmp_path / "out")
    monkeypatch.delenv(VARIABLE)
    for place in (tmp_path / "copy", steps.restore(tmp_path / "out", tmp_path / "again").place):
        assert (place / "trial.db").is_file() and steps.check(place).findings == ()
        assert len(records.load(place).readings) == 3
    steps.export(cut_template, tmp_path / "cut-out")
    monkeypatch.setenv(VARIABLE, address("trials_engineer"))
    moved = steps.restore(tmp_path / "cut-out", tmp_path / "moved").place
    assert not (moved / "trial.db").exists() and len(records.load(moved).cuts) == 8
    records.record_readings(moved, some_readings())
    assert steps.check(moved).sound and records.load(moved).head != records.load(cut_template).head
    with pytest.raises(InputError, match="on the server already"):
        steps.restore(tmp_path / "cut-out", tmp_path / "moved-again")

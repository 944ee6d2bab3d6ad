"""A register on Dask: the service's answers, in order, whatever is stopped or killed meanwhile."""

import io
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Container, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import psutil
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from dask import dataframe
from distributed import Client
from flask.testing import FlaskClient

from stillpipe.register import __main__ as command
from stillpipe.register import part as parts
from stillpipe.register import plan, run
from stillpipe.server.batch import batch
from stillpipe.tables import pipes

ROOT = Path(__file__).parents[2]
WATER = {"fluid.temperature [degC]": 18.0, "ambient.temperature [degC]": 20.5,
         "line_pressure [bar]": 2.5}  # fmt: skip


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    """Two workers."""
    with run.workers_here(2) as cluster, Client(cluster) as connected:
        yield connected


def rows(count: int) -> list[dict[str, Any]]:
    """An invented register: copper tube, water, a pressure for each row."""
    sizes = [p for p in pipes.catalogue() if p.standard == "ASTM B88"]
    found = []
    for i in range(count):
        pipe = sizes[i % len(sizes)]
        named = {"id": f"harbour-lane/{i}", "pipe.standard": pipe.standard,
                 "pipe.size": pipe.size, "pipe.schedule": pipe.schedule}  # fmt: skip
        found.append(named | WATER | {"line_pressure [bar]": 1.0 + i / 16})
    return found


def write(folder: Path, *tables: list[dict[str, Any]], group: int = 1000) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for i, table in enumerate(tables):
        pq.write_table(pa.Table.from_pylist(table), folder / f"{i}.parquet", row_group_size=group)
    return folder


def text(column: "pd.Series[Any]") -> list[str]:
    """The cells of a column of text; an empty one and none are the same in CSV."""
    return ["" if pd.isna(cell) else str(cell) for cell in column]


def read(folder: Path) -> pd.DataFrame:
    return pd.read_parquet(folder)


def answers(table: pa.Table) -> list[dict[str, Any]]:
    """The rows that answer ``table``, estimated here."""
    return [
        parts.row_of(i, name, item)
        for i, (name, item) in enumerate(parts.items(table, "plug-time"))
    ]


def test_answers_are_those_of_the_service(client: Client, tmp_path: Path, web: FlaskClient) -> None:
    """The same rows as CSV over HTTP get the same columns and the same cells."""
    asked = [r | {"estimate": "plug-time"} for r in rows(20)]
    asked += [r | {"estimate": "hold-time", "hold [min]": 45.0} for r in rows(3)]
    asked.append(asked[0] | {"pipe.size": "no-such", "line_pressure [bar]": -1.0})
    table = pa.Table.from_pylist(asked, schema=pa.Table.from_pylist([asked[20]]).schema)
    source = tmp_path / "register"
    source.mkdir()
    pq.write_table(table, source / "0.parquet")
    report = run.run(plan.plan(source, None, 7), tmp_path / "answers", client)
    assert (report.rows, report.succeeded, report.failed, report.lost) == (24, 23, 1, {})
    body = table.to_pandas().to_csv(index=False)
    reply = web.post("/v1/batch", data=body, content_type="text/csv")
    expected = pd.read_csv(io.BytesIO(reply.data))
    found = read(tmp_path / "answers")
    assert set(found.columns) == set(expected.columns)
    for name in expected.columns:
        if name in found.select_dtypes("number").columns:
            pd.testing.assert_series_equal(found[name], expected[name], check_dtype=False)
        else:
            # a register has rows, and no cells with names
            told = [re.sub(r" \(row [^)]*\)", "", cell) for cell in text(expected[name])]
            assert text(found[name]) == told, name


@pytest.fixture
def web(monkeypatch: pytest.MonkeyPatch) -> FlaskClient:
    from stillpipe.server.app import create_app  # noqa: PLC0415

    monkeypatch.setenv("STILLPIPE_BATCH_PROCESSES", "1")
    return create_app(warm_up=False).test_client()


def test_the_cut_never_changes_the_answer(client: Client, tmp_path: Path) -> None:
    """Files, row groups and parts of any length give one table, in the register's order."""
    whole = rows(30)
    one = write(tmp_path / "one", whole)
    three = write(tmp_path / "three", whole[:4], whole[4:21], whole[21:], group=5)
    found: list[pd.DataFrame] = []
    for source, length in ((one, 1000), (one, 11), (three, 3), (three, 1000)):
        folder = tmp_path / f"answers-{len(found)}"
        run.run(plan.plan(source, "plug-time", length), folder, client)
        found.append(read(folder))
    assert found[0]["id"].tolist() == [r["id"] for r in whole]
    assert found[0]["index"].tolist() == list(range(30))
    for other in found[1:]:
        pd.testing.assert_frame_equal(found[0], other)


def test_the_folder_reads_as_one_table_where_parts_had_other_columns(
    client: Client, tmp_path: Path
) -> None:
    """The first part has no figure at all, a later one more than the others."""
    bad = [r | {"pipe.size": "no-such"} for r in rows(4)]
    mixed = [r | {"estimate": "plug-time", "hold [min]": None} for r in bad + rows(4)]
    mixed += [r | {"estimate": "hold-time", "hold [min]": 30.0} for r in rows(4)]
    source = write(tmp_path / "register", mixed)
    report = run.run(plan.plan(source, None, 4), tmp_path / "answers", client)
    assert (report.succeeded, report.failed) == (8, 4)
    found = read(tmp_path / "answers")
    assert found["closure.likely [s]"].notna().tolist() == [False] * 4 + [True] * 4 + [False] * 4
    assert found["survival.likely [s]"].notna().tolist() == [False] * 8 + [True] * 4
    lazily = dataframe.read_parquet(tmp_path / "answers").compute().sort_values("index")
    assert lazily["survival.likely [s]"].notna().sum() == 4
    kinds = {str(pq.read_schema(f)) for f in (tmp_path / "answers").glob("*.parquet")}
    assert len(kinds) == 1


def test_no_row_is_lost_and_every_fault_is_told() -> None:
    """Cells of a wrong kind, not a number, too long: each row has its own problem."""
    sound = rows(1)[0] | {"stock [json]": None}
    table = pa.table({k: pa.array([sound[k]] * 5) for k in sound if k != "stock [json]"})
    table = table.set_column(
        table.column_names.index("line_pressure [bar]"), "line_pressure [bar]",
        pa.array([2.5, float("nan"), None, float("inf"), 2.5]),
    )  # fmt: skip
    ids = [*table["id"].to_pylist()[:4], "x" * 70_000]
    table = table.set_column(0, "id", pa.array(ids))
    answered = answers(table)
    assert [r["status"] for r in answered] == [200, 422, 422, 422, 413]
    for row in answered[1:4]:
        assert row["problem.errors"].startswith("#/request/line_pressure")
        assert ";" not in row["problem.errors"]


def test_text_is_never_taken_for_a_number() -> None:
    table = pa.Table.from_pylist([rows(1)[0] | {"line_pressure [bar]": "2.5", "pipe.size": 2}])
    (row,) = answers(table)
    assert row["status"] == 422
    pointers = {e.split()[0] for e in row["problem.errors"].split("; ")}
    assert pointers == {"#/request/line_pressure/value", "#/request/pipe/size"}


def test_equal_pipes_are_estimated_once_and_keep_their_names(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A name that cannot be used is told in its own row, and not in that of its twin."""
    begun: list[bytes] = []
    answer = batch.answer

    def counted(item: bytes, left_out: Container[str]) -> batch.Found:
        begun.append(item)
        return answer(item, left_out)

    monkeypatch.setattr(batch, "answer", counted)
    parts._answered.cache_clear()
    one, other = rows(2)
    asked = [one, other, one | {"id": "twin"}, one | {"id": None}, one | {"id": "x" * 1000}]
    found = answers(pa.Table.from_pylist(asked))
    assert [r["status"] for r in found] == [200, 200, 200, 200, 422]
    assert [r["id"] for r in found] == ["harbour-lane/0", "harbour-lane/1", "twin", None, None]
    assert "#/request/id" in found[4]["problem.errors"]
    assert len(begun) == 3
    figures = [{k: v for k, v in r.items() if k not in ("index", "id")} for r in found]
    assert figures[0] == figures[2] == figures[3] != figures[1]


@pytest.mark.parametrize(
    ("columns", "estimate", "told"),
    [
        ({"pipe.sise": "2"}, "plug-time", "column pipe.sise: is no input, but near pipe.size"),
        ({"line_pressure": 2.5}, "plug-time", "column line_pressure: needs a unit"),
        ({"id": "a"}, None, "column estimate: required"),
        ({"estimate": "plug-time"}, "plug-time", "has a column estimate"),
        ({"id": "a"}, "no-such", "must be one of"),
    ],
)
def test_a_register_that_cannot_be_used_is_refused_before_anything_is_done(
    tmp_path: Path, columns: dict[str, Any], estimate: str | None, told: str
) -> None:
    source = write(tmp_path / "register", [columns])
    with pytest.raises(plan.RegisterError, match=told):
        plan.plan(source, estimate, 10)


def test_every_file_that_cannot_be_used_is_named(tmp_path: Path) -> None:
    source = write(tmp_path / "register", [{"pipe.a": 1}], [{"pipe.b": 1}])
    (source / "2.parquet").write_bytes(b"no Parquet")
    with pytest.raises(plan.RegisterError) as told:
        plan.plan(source, "plug-time", 10)
    for name in ("0.parquet: column pipe.a", "1.parquet: column pipe.b", "2.parquet: "):
        assert name in str(told.value)


@pytest.mark.parametrize("empty", [True, False], ids=["no-rows", "no-files"])
def test_an_empty_register_is_refused(tmp_path: Path, empty: bool) -> None:
    if empty:
        pq.write_table(pa.Table.from_pylist(rows(1)).slice(0, 0), tmp_path / "a.parquet")
    with pytest.raises(plan.RegisterError):
        plan.plan(tmp_path, "plug-time", 10)


def test_a_folder_that_answers_something_else_is_left_alone(tmp_path: Path) -> None:
    source = write(tmp_path / "register", rows(3))
    folder = tmp_path / "answers"
    plan.claim(folder, plan.plan(source, "plug-time", 10))
    plan.claim(folder, plan.plan(source, "plug-time", 10))
    with pytest.raises(plan.RegisterError, match="estimate differ"):
        plan.claim(folder, plan.plan(source, "hold-time", 10))
    write(source, rows(4))
    with pytest.raises(plan.RegisterError, match="inputs differ"):
        plan.claim(folder, plan.plan(source, "plug-time", 10))
    with pytest.raises(plan.RegisterError, match="is not empty"):
        plan.claim(source, plan.plan(source, "plug-time", 10))


def test_a_worker_of_another_version_is_refused(
    client: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    planned = plan.plan(write(tmp_path / "register", rows(1)), "plug-time", 10)
    monkeypatch.setattr(run, "__version__", "0.0.0")
    with pytest.raises(plan.RegisterError, match="version"):
        run.run(planned, tmp_path / "answers", client)
    assert not (tmp_path / "answers").exists()


def test_a_killed_worker_costs_nothing(client: Client, tmp_path: Path) -> None:
    source = write(tmp_path / "register", rows(80))
    killed: list[int] = []

    def kill(_: str) -> None:
        if not killed:
            killed.append(next(iter(client.run(os.getpid).values())))
            os.kill(killed[0], signal.SIGKILL)

    report = run.run(plan.plan(source, "plug-time", 5), tmp_path / "answers", client, kill)
    assert killed
    assert (report.succeeded, report.lost) == (80, {})
    assert read(tmp_path / "answers")["index"].tolist() == list(range(80))


def test_a_part_that_fails_is_told_and_tried_again(client: Client, tmp_path: Path) -> None:
    """One part cannot be read for a while; the others are done, and the next run does that one."""
    source = write(tmp_path / "register", rows(6), rows(6))
    planned = plan.plan(source, "plug-time", 6)
    (source / "1.parquet").rename(source / "away")
    report = run.run(planned, tmp_path / "answers", client)
    assert (list(report.lost), report.complete) == ([1], False)
    (source / "away").rename(source / "1.parquet")
    report = run.run(planned, tmp_path / "answers", client)
    assert (report.kept, report.succeeded, report.complete) == (1, 12, True)


def test_sets_of_jackets_are_calibrated_side_by_side(
    client: Client, tmp_path: Path, web: FlaskClient
) -> None:
    """A row is a set, its records JSON: the calibrations are those of the service."""
    example = json.loads((ROOT / "openapi" / "examples" / "calibration-request.json").read_text())
    sets = [example["records"], example["records"][:3]]
    table = [
        {"id": f"harbour-lane/set-{i}", "records [json]": json.dumps(records)}
        for i, records in enumerate(sets)
    ]
    source = write(tmp_path / "sets", table)
    planned = plan.plan(source, "calibration", 1)
    report = run.run(planned, tmp_path / "answers", client)
    assert (report.succeeded, report.complete) == (2, True)
    found = read(tmp_path / "answers").sort_values("index")
    for row, records in zip(found.to_dict("records"), sets, strict=True):
        reply = web.post("/v1/calibration", json={"records": records}).get_json()
        factor = reply["calibration"]["jacket_conductance"]
        assert row["calibration.records"] == reply["calibration"]["records"]
        for end in ("p05", "p50", "p95"):
            assert row[f"calibration.jacket_conductance.{end}"] == factor[end]


def start(source: Path, folder: Path) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "stillpipe.register", source, folder, "--estimate", "plug-time",
         "--rows", "10", "--workers", "2"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip


def test_a_run_killed_midway_goes_on_where_it_was(tmp_path: Path) -> None:
    """kill -9 of the command and its workers; what was done is kept, nothing else is missing."""
    source = write(tmp_path / "register", rows(300))
    folder = tmp_path / "answers"
    first = start(source, folder)
    end = time.monotonic() + 600.0
    while len(list(folder.glob("part-*"))) < 4 and time.monotonic() < end:
        time.sleep(0.05)
    family = [psutil.Process(first.pid), *psutil.Process(first.pid).children(recursive=True)]
    for process in family:
        process.kill()
    first.communicate()
    kept = list(folder.glob("part-*"))
    assert 4 <= len(kept) < 30
    (folder / ".part-000029.parquet.left").write_bytes(b"half")
    out, err = start(source, folder).communicate(timeout=300)
    summary = json.loads(out)
    assert summary["parts_kept"] == len(kept), err
    assert (summary["total"], summary["succeeded"], summary["complete"]) == (300, 300, True)
    assert err.count(f" of {30 - len(kept)} parts") == 30 - len(kept), "no other part was done"
    assert sorted(f.name for f in folder.iterdir()) == [
        plan.STATE, *(f"part-{i:06d}.parquet" for i in range(30))
    ]  # fmt: skip
    assert read(folder)["id"].tolist() == [r["id"] for r in rows(300)]


def test_the_command_says_how_it_ended(
    client: Client, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 where all is answered, 1 where a row failed, 2 where it was refused."""
    address = client.scheduler_info()["address"]
    good = write(tmp_path / "good", rows(2))
    bad = write(tmp_path / "bad", [r | {"pipe.size": "no-such"} for r in rows(2)])

    def call(source: Path, *more: str) -> int:
        folder = tmp_path / f"answers-{source.name}"
        return command.main([str(source), str(folder), "--scheduler", address, *more])

    assert call(good, "--estimate", "plug-time") == 0
    assert json.loads(capsys.readouterr().out)["failed"] == 0
    assert call(bad, "--estimate", "plug-time") == 1
    assert json.loads(capsys.readouterr().out)["failed"] == 2
    assert call(good) == 2
    assert "column estimate: required" in capsys.readouterr().err


SHEET = (
    "id;pipe.standard;pipe.size;pipe.schedule;fluid.temperature [degC];"
    "ambient.temperature [degC];line_pressure [bar];Raum;verdict\r\n"
)


def test_tables_of_spreadsheets_are_registers_too(
    client: Client, tmp_path: Path, web: FlaskClient
) -> None:
    """CSV with semicolons and a workbook beside Parquet: the answers of a batch, in order."""
    source = write(tmp_path / "register", rows(2))
    lines = [f"p{i};ASTM B88;3/4;L;18,5;21;{i + 1},5;{i};old\r\n" for i in range(5)]
    lines[3] = lines[3].replace("3/4", "3-Apr")
    (source / "1.csv").write_bytes((SHEET + "".join(lines)).encode("cp1252"))
    reply = web.post(
        "/v1/batch", content_type="text/csv",
        data=SHEET.replace("id;", "estimate;id;") + "".join(f"plug-time;{x}" for x in lines),
        headers={"Accept": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"},
    )  # fmt: skip
    expected = pd.read_excel(io.BytesIO(reply.data))
    book = pd.DataFrame([r | {"Raum": "x"} for r in rows(3)])
    book.to_excel(source / "2.xlsx", index=False, engine="openpyxl")
    (source / "~$2.xlsx").write_bytes(b"what a spreadsheet leaves while it is open")
    planned = plan.plan(source, "plug-time", None, 2)
    assert (planned.rows, [p.rows for p in planned.parts]) == (10, [2, 5, 3])
    report = run.run(planned, tmp_path / "answers", client)
    assert (report.succeeded, report.failed, report.complete) == (9, 1, True)
    found = read(tmp_path / "answers")
    assert found["index"].tolist() == list(range(10))
    assert text(found["id"]) == [
        "harbour-lane/0", "harbour-lane/1", "p0", "p1", "p2", "p3", "p4",
        *(r["id"] for r in rows(3)),
    ]  # fmt: skip
    assert text(found["#Raum"]) == ["", "", "0", "1", "2", "3", "4", "x", "x", "x"]
    assert found["estimate"].tolist() == ["plug-time"] * 10
    assert "cell C5" in found["problem.errors"][5]
    pd.testing.assert_series_equal(
        found["closure.likely [s]"][2:7].reset_index(drop=True), expected["closure.likely [s]"]
    )
    assert run.run(planned, tmp_path / "answers", client).kept == 3


@pytest.mark.parametrize(
    ("total", "workers", "length"), [(1500, 2, 94), (7, 2, 10), (1_000_000, 2, 2000), (200, 4, 10)]
)
def test_every_worker_has_parts_enough(total: int, workers: int, length: int) -> None:
    assert plan.rows_of_parts(total, workers) == length


def test_a_run_begun_again_keeps_its_cut(tmp_path: Path) -> None:
    """Also with another number of workers, which would cut otherwise."""
    source = write(tmp_path / "register", rows(100))
    folder = tmp_path / "answers"
    assert plan.kept_rows(folder) is None
    plan.claim(folder, plan.plan(source, "plug-time", None, 2))
    assert plan.kept_rows(folder) == 10
    again = plan.plan(source, "plug-time", plan.kept_rows(folder), 1)
    plan.claim(folder, again)
    assert [p.rows for p in again.parts] == [10] * 10


def test_progress_tells_rows_rate_and_what_is_left() -> None:
    progress = run.Progress(1500, kept=300, begun=time.monotonic() - 100.0)
    progress.done += 200
    assert str(progress) == "500 of 1500 rows, 2 rows/s, 8 min left"
    assert [run.duration(s) for s in (45.0, 720.0, 12600.0)] == ["45 s", "12 min", "3.5 h"]


def test_a_table_that_cannot_be_read_is_refused_before_anything_is_done(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("pipe.sise\n3/4\n")
    (tmp_path / "b.xlsx").write_bytes(b"no workbook")
    with pytest.raises(plan.RegisterError) as told:
        plan.plan(tmp_path, "plug-time", None)
    assert "a.csv: column pipe.sise: is no input, but near pipe.size" in str(told.value)
    assert "b.xlsx: is no workbook" in str(told.value)

"""The exported tables read by pandas and DuckDB, neither of which knows this program."""

import re
from datetime import timedelta, timezone
from pathlib import Path

import kept_reps
import pytest

from trainer.cli import main
from trainer.store.file import open_store

duckdb = pytest.importorskip("duckdb", reason="DuckDB (test extra) is not installed")
pandas = pytest.importorskip("pandas", reason="pandas (test extra) is not installed")

PAGE = Path(__file__).resolve().parents[2] / "docs/how-to/many-machines.md"


@pytest.fixture
def machines(tmp_path, monkeypatch):
    """The exports of two machines; on the second a rep lacks most figures."""
    for number, player in enumerate(("Ann", "Bo"), start=1):
        monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / f"data{number}"))
        offset = timezone(timedelta(hours=number))  # each bay in a time zone of its own
        of = kept_reps.session(number, player=player, began=kept_reps.BEGAN.astimezone(offset))
        with open_store(create=True) as store:
            store.save(kept_reps.rep(1, of=of), kept_reps.motion(seed=number))
            store.save(kept_reps.bare(2, of=of))
        main(["export", "--out", str(tmp_path / "archive" / f"bay-{number}")])
    return tmp_path / "archive"


def test_pandas_reads_figures_texts_and_gaps_as_they_were_kept(machines):
    reps = pandas.read_csv(machines / "bay-1" / "reps.csv", parse_dates=["began", "ended"])
    kept = kept_reps.rep(1)
    assert len(reps) == 2
    assert reps["top_shoulder_turn_deg"][0] == kept.rep.at_top.shoulder_turn_deg
    assert pandas.isna(reps["top_shoulder_turn_deg"][1])
    assert reps["note"][0] == kept.note
    assert reps["began"][0].to_pydatetime() == kept.session.began  # ISO 8601
    assert reps["complete"].tolist() == [True, False]


def test_pandas_reads_the_curves_as_they_were_kept(machines):
    curves = pandas.read_csv(machines / "bay-1" / "curves.csv")
    kept = kept_reps.motion(seed=1).curves
    turn = curves["shoulder_turn_deg"].to_numpy()
    assert turn == pytest.approx(kept.columns["shoulder_turn_deg"])
    assert curves["head_lateral_cm"].isna().sum() == 20
    one = curves.groupby(["session", "number"])["shoulder_turn_deg"].max()
    assert one.iloc[0] == pytest.approx(kept.columns["shoulder_turn_deg"].max())


def example(language, number=0):
    """The example of that language on the page about many machines."""
    blocks = re.findall(rf"```{language}\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    return blocks[number]


def test_the_example_with_duckdb_reads_many_machines_as_one(machines, monkeypatch):
    monkeypatch.chdir(machines.parent)
    found = duckdb.sql(example("sql")).fetchall()
    turn = kept_reps.rep(1).rep.at_top.shoulder_turn_deg
    # The cut-off reps are no whole ones.
    assert [(row[0], *row[2:]) for row in found] == [
        ("Ann", 1, pytest.approx(turn), 0.0),
        ("Bo", 1, pytest.approx(turn), 0.0),
    ]


def test_the_example_to_parquet_holds_every_rep_and_reading_with_its_type(machines, monkeypatch):
    """Parquet is an open format (parquet.apache.org); DuckDB writes it, and reads it back here."""
    monkeypatch.chdir(machines.parent)
    question = example("sql")
    from_csv = duckdb.sql(question).fetchall()
    duckdb.sql(example("sql", 1))
    from_parquet = re.sub(r"FROM read_csv\(.*?\)", "FROM 'archive/reps.parquet'", question)
    assert from_parquet != question
    assert duckdb.sql(from_parquet).fetchall() == from_csv
    for name, count in (("reps", 4), ("curves", 80)):
        assert duckdb.sql(f"SELECT count(*) FROM 'archive/{name}.parquet'").fetchall() == [(count,)]
    described = duckdb.sql("DESCRIBE FROM 'archive/reps.parquet'").fetchall()
    kinds = {row[0]: row[1] for row in described}
    assert (kinds["top_shoulder_turn_deg"], kinds["complete"]) == ("DOUBLE", "BOOLEAN")
    assert kinds["began"].startswith("TIMESTAMP")
    ((turn,),) = duckdb.sql(
        "SELECT max(shoulder_turn_deg) FROM 'archive/curves.parquet'"
    ).fetchall()
    kept = [kept_reps.motion(seed=n).curves.columns["shoulder_turn_deg"].max() for n in (1, 2)]
    assert turn == pytest.approx(max(kept))


def test_the_example_with_pandas_reads_many_machines_as_one(machines, monkeypatch, capsys):
    monkeypatch.chdir(machines.parent)
    names = {}
    exec(compile(example("py"), PAGE.name, "exec"), names)
    assert names["table"]["count"].tolist() == [1, 1]
    assert "Ann" in capsys.readouterr().out

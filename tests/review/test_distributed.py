"""The clinic's queries give the same rows on an engine that spreads them over machines, unchanged."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from clinics import TODAY, make_clinic

from coach.review.columns import TABLES, open_clinic, statements, write_columns
from coach.review.logbooks import EPOCH

pytestmark = pytest.mark.distributed
QUERIES = ("people", "came", "days", "later", "counts", "past", "signs")


@pytest.fixture(scope="module")
def columns(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("clinic")
    make_clinic(root / "home")
    write_columns(open_clinic(root / "home"), root / "columns")
    return root / "columns"


@pytest.fixture(scope="module")
def spark(columns: Path) -> Iterator[Any]:
    """Return Spark on this machine alone, with a view for each file of columns."""
    pyspark = pytest.importorskip("pyspark.sql", reason="Spark is not installed: pip install '.[distributed]'")
    if shutil.which("java") is None:
        pytest.skip("Spark needs Java: install a JRE, in Debian the package default-jre-headless")
    session = (
        pyspark.SparkSession.builder.master("local[2]")
        .config("spark.driver.host", "127.0.0.1")
        .config("spark.driver.bindAddress", "127.0.0.1")
        .config("spark.ui.enabled", "false")
        .config("spark.sql.shuffle.partitions", "2")
        .getOrCreate()
    )
    for table in TABLES:
        session.read.parquet(str(columns / f"{table}.parquet")).createOrReplaceTempView(table)
    yield session
    session.stop()


@pytest.mark.parametrize("query", QUERIES)
def test_a_query_gives_the_same_rows(query: str, spark: Any, columns: Path) -> None:
    today = f"CREATE OR REPLACE TEMPORARY VIEW today AS SELECT {TODAY.toordinal() - EPOCH - 2} AS day_number"
    engine = open_clinic(columns).engine
    engine.execute(today)
    spark.sql(today)
    (statement,) = statements(query)

    here = engine.execute(statement).fetchall()

    assert [tuple(row) for row in spark.sql(statement).collect()] == here
    assert here

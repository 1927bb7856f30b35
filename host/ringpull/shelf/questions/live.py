"""What a question is asked of: the rows that count, of drives that may be mixed, with the history of their cars.

Everything here is an Ibis expression, so that any engine that Ibis speaks to computes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ringpull.errors import BadUsage, MissingPart
from ringpull.shelf import calibrations
from ringpull.shelf.library import ibis as load_ibis
from ringpull.shelf.places import Shelf
from ringpull.shelf.tables import TABLES
from ringpull.shelf.version import ANALYSIS

ENGINES = ("duckdb", "pyspark")
EPOCH_DAY, YEAR_D = 20_454.0, 365.25  # 2026-01-01: sums of squares of days since 1970 would lose digits


@dataclass(frozen=True)
class Chosen:
    """Which drives are asked. since, until: days since 1970. mixed: of whatever analysis."""

    car: str | None = None
    fuel: str | None = None
    since: float | None = None
    until: float | None = None
    mixed: bool = False


class Engine:
    """A connection of Ibis to an engine, and the shelf's tables in it."""

    def __init__(self, name: str = "duckdb", master: str | None = None) -> None:
        self.ibis = load_ibis()
        self.name = name
        self.connection = self._duckdb() if name == "duckdb" else self._spark(master)

    def _duckdb(self) -> Any:
        return self.ibis.duckdb.connect()

    def _spark(self, master: str | None) -> Any:
        try:
            from pyspark.sql import SparkSession  # pyright: ignore[reportMissingImports]
        except ImportError:
            raise MissingPart(
                "Spark's Python library is not installed", "it is an extra", "pip install '.[cluster]'"
            ) from None
        builder = SparkSession.builder.appName("ringpull").config("spark.ui.enabled", "false")
        builder = builder.config("spark.sql.session.timeZone", "UTC").config("spark.sql.shuffle.partitions", "8")
        # Spark 4.0, which Ibis takes, refuses floats that are split by byte unless it reads row by row; 4.3 does not
        builder = builder.config("spark.sql.parquet.enableVectorizedReader", "false")
        session = (builder.master(master) if master else builder).getOrCreate()
        session.sparkContext.setLogLevel("ERROR")
        return self.ibis.pyspark.connect(session)

    def table(self, shelf: Shelf, name: str, car: str | None) -> Any:
        """A table of the shelf, of all cars or of one; without rows where there is no file."""
        if not shelf.files(name, car):
            return self._without_rows(self.table(shelf, "drives", car), name)
        pattern = shelf.folder(name, car) if car is not None else shelf.base / name / "car=c_*"
        return self.connection.read_parquet(f"{pattern}/*.parquet")

    def _without_rows(self, other: Any, name: str) -> Any:
        """A table with the columns that it should have, made of another one's."""
        kinds = {"text": "string", "float": "float32", "double": "float64", "bool": "boolean", "timestamp": "timestamp"}
        columns = {one.name: self.ibis.null(kinds.get(one.kind, one.kind)) for one in TABLES[name]}
        return other.filter(lambda t: t.serial < 0).select(**columns)


class Live:
    """The tables as a question takes them: expressions, of which the engine computes that of the drives first."""

    def __init__(self, engine: Engine, shelf: Shelf, chosen: Chosen) -> None:
        self.engine, self.shelf, self.chosen = engine, shelf, chosen
        self.ibis = engine.ibis

    @cached_property
    def every(self) -> Any:
        """The row that counts of each drive."""
        ibis = self.ibis
        drives = self.engine.table(self.shelf, "drives", self.chosen.car)
        newest = ibis.window(group_by="drive", order_by=[ibis.desc("serial"), ibis.desc("part")])
        return drives.mutate(place=ibis.row_number().over(newest)).filter(lambda t: t.place == 0)

    def _old(self, table: Any) -> Any:
        return table.analysis != ANALYSIS

    @cached_property
    def drives(self) -> Any:
        """The drives that are asked, as `history` has them."""
        asked = self.history.filter(lambda t: ~t.doubted)
        return asked if self.chosen.mixed else asked.filter(lambda t: ~self._old(t))

    @cached_property
    def history(self) -> Any:
        """Dated drives with their cars' history, which those tell as well that can't be asked. segment: counts the
        entries of its car's log up to a drive: changes, other fuel, another sensor; entry: whether one stands before
        this very drive. fitted: when the sensor that it was driven with was fitted, null where nobody told. hours: of
        turning engine that its car had on the shelf before."""
        ibis, every = self.ibis, self.every
        kept = every.filter(lambda t: t.day.notnull())
        by = {"group_by": "car_name", "order_by": ["day", "drive"]}
        so_far, before = ibis.window(**by, preceding=None, following=0), ibis.window(**by)
        out = kept.mutate(
            fitted=ibis.cases((kept.sensor_day <= kept.day, kept.sensor_day), else_=ibis.null("float64"))
            .max()
            .over(so_far),
            fuel_before=kept.fuel.lag().over(before),
            day_before=kept.day.lag().over(before),
            hours=(kept.engine_s.sum().over(so_far) - kept.engine_s) / 3600.0,
        )
        out = out.mutate(fitted_before=out.fitted.lag().over(before))
        out = out.mutate(
            other_fuel=(out.fuel_before.notnull() & (out.fuel != out.fuel_before)).fill_null(False),
            other_sensor=(
                (out.fitted != out.fitted_before) | (out.fitted_before.isnull() & (out.fitted > out.day_before))
            ).fill_null(False),
        )
        out = out.mutate(entry=out.change.notnull() | out.other_fuel | out.other_sensor)
        out = out.mutate(segment=out.entry.cast("int64").sum().over(so_far), x=(out.day - EPOCH_DAY) / YEAR_D)
        for asked, name in ((self.chosen.since, "since"), (self.chosen.until, "until")):
            if asked is not None:
                out = out.filter(lambda t, asked=asked, name=name: t.day >= asked if name == "since" else t.day < asked)
        out = out if self.chosen.fuel is None else out.filter(lambda t: t.fuel == self.chosen.fuel)
        return out

    def beside(self, table: str, *names: str) -> Any:
        """The rows of a table that belong to these drives. names: columns of the drives that they get."""
        rows = self.engine.table(self.shelf, table, self.chosen.car)
        drives = self.drives.select("drive", "part", *names)
        rows = rows.drop("car_name") if "car_name" in names else rows
        return rows.inner_join(drives, ["drive", "part"])

    def drive_means(self) -> Any:
        """A row for each drive, bank and cell: `ratio`, the mean of its pulls, `worst` the largest short mean, and how
        many pulls. The drive is the unit of what is asked across months: its pulls share their day."""
        cells = self.beside("cells", "car_name", "month", "segment", "x", "day", "load_unit")
        keys = ["car_name", "bank", "load_unit", "rpm", "load", "drive", "segment", "month", "x", "day"]
        return cells.group_by(keys).agg(
            ratio=lambda t: t.ratio.cast("float64").sum() / t.count(),
            worst=lambda t: t.ratio_max.cast("float64").max(),
            pulls=lambda t: t.count(),
        )

    def left_out(self) -> dict[str, int]:
        """How many drives are not asked, and why."""
        every = self.every
        old = self._old(every)
        counts = every.agg(
            drives=every.count(),
            doubted=every.doubted.sum(),
            older=(old & ~every.doubted).sum(),
            undated=(every.day.isnull() & ~every.doubted & ~old).sum(),
            guessed=((every.date_from == "file's date") & ~every.doubted & ~old).sum(),
        )
        (row,) = self.run(counts)
        return {name: int(value or 0) for name, value in row.items()}

    def asked(self) -> int:
        """How many drives are asked."""
        (row,) = self.run(self.drives.agg(n=self.drives.count()))
        return int(row["n"])

    def other_calibrations(self) -> dict[str, int]:
        """Car -> how many of its drives that may be asked another configuration judged than the one given last."""
        asked = self.every.filter(lambda t: ~t.doubted)
        asked = asked if self.chosen.mixed else asked.filter(lambda t: ~self._old(t))
        groups: dict[str, list[dict]] = {}
        keys = ["car_name", "calibration", "calibration_from"]
        for row in self.run(asked.group_by(keys).agg(n=lambda t: t.count())):
            groups.setdefault(row["car_name"], []).append(row)
        found = {car: calibrations.others(rows, calibrations.newest(self.shelf, car)) for car, rows in groups.items()}
        return {car: found[car] for car in sorted(found) if found[car]}

    def run(self, expression: Any) -> list[dict]:
        """The rows of an expression, None where a value is null."""
        return self.engine.connection.to_pyarrow(expression).to_pylist()


def refuse_unknown(engine: str) -> None:
    """BadUsage for an engine that nobody knows."""
    if engine not in ENGINES:
        raise BadUsage(f"there is no engine {engine!r}", "a slip in the name", f"take one of {', '.join(ENGINES)}")

"""Reads `truing samples` with pandas and with polars, from CSV and from JSON, checks that all four
agree, and writes golden/samples.json: of each column how many rows hold something, their sum where
they are numbers, and the first of them as text.

    python3 tests/oracles/read_samples.py target/debug/truing

Needs pandas and polars; the versions stand in what is written. Exits 1 on the first difference.
"""

import csv
import importlib.metadata
import io
import json
import math
import pathlib
import subprocess
import sys

import pandas
import polars

HERE = pathlib.Path(__file__).resolve().parent
SESSION = HERE.parent.parent / "sample-sessions" / "bench-ride"


def printed(truing, *arguments):
    command = [truing, "samples", str(SESSION), *arguments]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


def summed(values):
    """Count and, of numbers, sum of what is there."""
    there = [v for v in values if v is not None and not (isinstance(v, float) and math.isnan(v))]
    numbers = bool(there) and all(isinstance(v, (int, float)) for v in there)
    return {"count": len(there), "sum": math.fsum(there) if numbers else None}


def frames(truing):
    as_csv, as_json = printed(truing), printed(truing, "--format", "json")
    yield "pandas, CSV", pandas.read_csv(io.StringIO(as_csv)).to_dict("list")
    yield "pandas, JSON", pandas.read_json(io.StringIO(as_json), dtype=False).to_dict("list")
    whole = {"infer_schema_length": None}
    yield "polars, CSV", polars.read_csv(io.BytesIO(as_csv.encode()), **whole).to_dict(as_series=False)
    yield "polars, JSON", polars.read_json(io.BytesIO(as_json.encode()), **whole).to_dict(as_series=False)


def main(truing):
    first_text = {}
    for row in csv.DictReader(io.StringIO(printed(truing))):
        for name, cell in row.items():
            if cell and name not in first_text:
                first_text[name] = cell
    golden = None
    for name, frame in frames(truing):
        rows = len(next(iter(frame.values())))
        columns = {column: summed(values) for column, values in frame.items()}
        for column, found in columns.items():
            found["first"] = first_text.get(column, "")
        here = {"rows": rows, "columns": columns}
        if golden is not None and here != golden:
            for column in columns:
                if columns[column] != golden["columns"].get(column):
                    print(name, column, columns[column], golden["columns"].get(column))
            sys.exit(1)
        golden = here
    versions = {name: importlib.metadata.version(name) for name in ("pandas", "polars")}
    path = HERE.parent / "golden" / "samples.json"
    path.write_text(json.dumps({"made_with": versions, **golden}, indent=1) + "\n")


main(sys.argv[1])

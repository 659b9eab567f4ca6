"""Reads the CSV of `truing table` with Python's csv module and with pandas, and compares every
figure of agreement and verdict with the JSON of the same session.

    truing table SESSION --format csv > table.csv
    truing table SESSION --format json > table.json
    python3 read_table_csv.py table.csv table.json

Needs pandas (last run with 3.1.1). Exits 1 on the first difference above half of the last decimal.
"""

import csv
import json
import math
import sys

import pandas

HALF_A_DIGIT = 0.5e-6 + 1e-12

PAIR = [
    "n", "n_effective", "bias_w", "bias_percent", "sd_diff_w", "rmse_w", "ccc", "pearson_r",
]
VERDICT = [
    "bias_percent", "expanded_uncertainty_percent", "limit_percent", "conformance_probability",
    "bias_w", "expanded_uncertainty_w", "limit_w", "coverage_factor",
]


def expected_rows(table):
    """One dictionary a row: column -> value (None where it does not apply)."""
    for segment in table["segments"]:
        verdicts = [v for v in [segment["verdict"], *segment["further_verdicts"]] if v]
        for pair in segment["agreement"]:
            row = {name: pair[name] for name in PAIR}
            for field in ["bias_ci95_w", "loa95_w"]:
                low, high = pair[field] or (None, None)
                stem = field.removesuffix("_w")
                row[f"{stem}_lower_w"], row[f"{stem}_upper_w"] = low, high
            for verdict in verdicts:
                if verdict["under_test"] == pair["under_test"]:
                    row |= {f"verdict_{name}": verdict[name] for name in VERDICT}
            yield row


def compare(name, place, value, read):
    if value is None:
        assert read is None, f"row {place}, {name}: empty expected, {read} read"
    else:
        assert read is not None, f"row {place}, {name}: {value} expected, nothing read"
        assert abs(value - read) <= HALF_A_DIGIT, f"row {place}, {name}: {value} and {read}"


def main():
    csv_path, json_path = sys.argv[1:]
    with open(json_path, encoding="utf-8") as file:
        expected = list(expected_rows(json.load(file)))
    with open(csv_path, encoding="utf-8", newline="") as file:
        plain = [row for row in csv.DictReader(file, strict=True) if row["reference"]]
    frame = pandas.read_csv(csv_path)
    frame = frame[frame["reference"].notna()].reset_index(drop=True)
    assert len(plain) == len(expected) == len(frame), (len(plain), len(expected), len(frame))
    compared = 0
    for place, row in enumerate(expected):
        for name, value in row.items():
            by_csv = float(plain[place][name]) if plain[place][name] else None
            by_pandas = float(frame.at[place, name])
            compare(name, place, value, by_csv)
            compare(name, place, value, None if math.isnan(by_pandas) else by_pandas)
            compared += 1
    print(f"{len(expected)} rows, {compared} figures: csv and pandas {pandas.__version__} agree")


main()

#!/usr/bin/env python3
"""Writes fit.json: what an independent decoder reads from the FIT files of the fitparser crate.

Developers run this when the crate's files change:

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install fitdecode==0.11.0
    /tmp/venv/bin/python tests/golden/refresh_fit.py

The files are found through `cargo metadata` and keyed by the SHA-256 of their bytes.
"""

import hashlib
import importlib.metadata
import json
import pathlib
import subprocess
import warnings

import fitdecode

HERE = pathlib.Path(__file__).resolve().parent

# Channel: the decoder's fields, the first present one counts; `fractional_cadence` is added,
# and a resistance is from 0 to 254.
CHANNELS = {
    "power": ["power"],
    "cadence": ["cadence"],
    "speed": ["enhanced_speed", "speed"],
    "heart-rate": ["heart_rate"],
    "temperature": ["temperature"],
    "grade": ["grade"],
    "resistance": ["resistance"],
    "altitude": ["enhanced_altitude", "altitude"],
}


def cargo(*arguments):
    command = ["cargo", *arguments]
    return subprocess.run(
        command, cwd=HERE.parent.parent, check=True, stdout=subprocess.PIPE, text=True
    ).stdout


def fixtures():
    # Only this machine's dependencies are sure to be at hand.
    host = next(line[6:] for line in cargo("-vV").splitlines() if line.startswith("host: "))
    metadata = cargo("metadata", "--offline", "--format-version", "1", "--filter-platform", host)
    packages = json.loads(metadata)["packages"]
    manifest = next(p["manifest_path"] for p in packages if p["name"] == "fitparser")
    return sorted((pathlib.Path(manifest).parent / "tests" / "fixtures").iterdir())


def value(message, names):
    for name in names:
        found = message.get_value(name, fallback=None)
        if isinstance(found, (int, float)):
            if name == "cadence":
                found += message.get_value("fractional_cadence", fallback=None) or 0
            if name == "resistance":
                found /= 2.54
            return float(found)
    return None


def golden(path):
    messages = 0
    records = []
    laps = 0
    with fitdecode.FitReader(str(path)) as reader:
        for frame in reader:
            if isinstance(frame, fitdecode.FitDataMessage):
                messages += 1
                laps += frame.name == "lap"
                if frame.name == "record":
                    records.append(frame)
    timed = {}
    for record in records:
        time = record.get_value("timestamp", fallback=None)
        if time is not None:
            timed.setdefault(time.timestamp(), record)
    samples = []
    for channel, names in CHANNELS.items():
        with_value = [(t, value(r, names)) for t, r in sorted(timed.items())]
        with_value = [(t, v) for t, v in with_value if v is not None]
        if with_value:
            time_s, found = with_value[len(with_value) // 2]
            samples.append(
                {
                    "channel": channel,
                    "values": len(with_value),
                    "time_s": time_s,
                    "value": found,
                    "sum": sum(v for _, v in with_value),
                }
            )
    return {
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "messages": messages,
        "records": len(records),
        "timed_seconds": len(timed),
        "laps": laps,
        "samples": samples,
    }


def main():
    warnings.simplefilter("ignore")
    version = importlib.metadata.version("fitdecode")
    files = sorted((golden(path) for path in fixtures()), key=lambda entry: entry["sha256"])
    document = {"decoder": f"fitdecode {version} (PyPI)", "files": files}
    (HERE / "fit.json").write_text(json.dumps(document, indent=1) + "\n")


main()

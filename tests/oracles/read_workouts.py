"""Writes every plan at 80 % as a workout, reads it with an independent FIT decoder, and writes what
it finds to golden/workouts.json.

    python3 tests/oracles/read_workouts.py target/debug/truing

Needs fitdecode (its version stands in what is written).
"""

import importlib.metadata
import json
import pathlib
import subprocess
import sys
import tempfile

import fitdecode

HERE = pathlib.Path(__file__).resolve().parent


def decoded(path):
    found = {"steps": []}
    with fitdecode.FitReader(path) as reader:
        for message in reader:
            if not isinstance(message, fitdecode.FitDataMessage):
                continue
            get = lambda name: message.get_value(name, fallback=None)
            if message.name == "file_id":
                found["type"] = get("type")
            elif message.name == "workout":
                found["name"] = get("wkt_name")
                found["num_valid_steps"] = get("num_valid_steps")
            elif message.name == "workout_step":
                assert get("message_index") == len(found["steps"])
                step = {"name": get("wkt_step_name"), "notes": get("notes")}
                step["seconds"] = get("duration_time")
                low, high = None, None
                if get("target_type") == "power":
                    low, high = get("custom_target_power_low"), get("custom_target_power_high")
                    # The profile counts W from 1000 on.
                    low, high = low - 1000, high - 1000
                step["low_w"], step["high_w"] = low, high
                found["steps"].append(step)
    return found


def main(truing):
    listed = subprocess.run([truing, "plan"], check=True, stdout=subprocess.PIPE, text=True).stdout
    names = [line.split()[0] for line in listed.splitlines() if " min " in line]
    workouts = {}
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            path = f"{folder}/{name}.fit"
            command = [truing, "plan", name, "--scale", "80", "-o", path]
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            workouts[name] = decoded(path)
    version = importlib.metadata.version("fitdecode")
    golden = {"made_with": {"fitdecode": version}, "workouts": workouts}
    path = HERE.parent / "golden" / "workouts.json"
    path.write_text(json.dumps(golden, indent=1, ensure_ascii=False) + "\n")


main(sys.argv[1])

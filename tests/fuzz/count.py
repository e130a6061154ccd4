#!/usr/bin/env python3
"""Adds up what run.sh has run: executions, seconds and coverage of each target, from log/."""
import collections
import pathlib
import re

HERE = pathlib.Path(__file__).resolve().parent
runs, seconds, covered = collections.Counter(), collections.Counter(), {}
for log in sorted((HERE / "log").iterdir(), key=lambda p: p.stat().st_mtime):
    target = log.name.split("-")[0]
    text = log.read_text(errors="replace")
    done = re.search(r"Done (\d+) runs in (\d+) second", text)
    units = re.search(r"number_of_executed_units: (\d+)", text)
    runs[target] += int(done[1] if done else units[1] if units else 0)
    seconds[target] += int(done[2]) if done else 0
    covered[target] = (re.findall(r" cov: (\d+)", text) or ["?"])[-1]
for target in runs:
    folder = HERE / "artifacts" / target
    found = [p for p in folder.iterdir() if not p.name.startswith("slow-unit")] if folder.is_dir() else []
    print(f"{target}: {runs[target]} executions in {seconds[target]} s, {covered[target]} edges reached, "
          f"{len(found)} findings")
print(f"all: {sum(runs.values())} executions in {sum(seconds.values()) / 60:.0f} min")

"""Reads every CSV file of a report as pandas.read_csv does by default, and checks it against codebook.csv."""

import math
import pathlib
import re
import sys

import pandas

folder = pathlib.Path(sys.argv[1])
tables = {path.name: pandas.read_csv(path) for path in sorted(folder.glob("*.csv"))}
codebook = tables["codebook.csv"]
assert len(tables) > 8, f"only {len(tables)} files"
for name, table in tables.items():
    assert len(table) > 0, f"{name} has no rows"
    for column in table.columns:
        assert re.fullmatch(r"[a-z][a-z0-9_]*", column), f"{name}: {column}"
        numbers = table[column]
        if numbers.dtype.kind == "f":
            assert not any(math.isinf(number) for number in numbers), f"{name}: {column} holds an infinity"
    if name == "codebook.csv":
        continue
    described = list(codebook[codebook["file"] == name]["column"])
    assert described == list(table.columns), f"{name}: {described} in the codebook, {list(table.columns)} in the file"
assert codebook["definition"].notna().all(), codebook[codebook["definition"].isna()]
samples = tables["samples.csv"]
assert len(samples) == tables["runs.csv"]["samples"].sum(), "samples.csv has every sample of every run"
for column in ("run", "realization", "time", "spinner_weight_average_size"):
    assert samples[column].dtype.kind in "if", f"samples.csv: {column} is no number"
for name, x in (("structure_factor.csv", "k"), ("pair_correlation.csv", "r"), ("cluster_sizes.csv", "size_from")):
    assert (tables[name][x] > 0).all(), f"{name}: {x}"
# Definition: the shells of S(k) are 2 pi / L apart.
shells = tables["structure_factor.csv"].query("run == 1")["k"]
assert ((shells.diff().dropna() / shells.iloc[0] - 1).abs() < 1e-6).all(), "structure_factor.csv: k"
print("\n".join(f"{name} {len(table)} {len(table.columns)}" for name, table in tables.items()))

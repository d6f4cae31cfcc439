"""Recomputes every number of export_statistics with SciPy and NumPy; exits with 1 if one differs by more than 1e-9.

Usage: statistics_against_scipy.py PROGRAM
"""
import csv
import io
import subprocess
import sys

import numpy as np
from scipy import special, stats

CHECKS = {
    "mean": lambda a, b: np.mean(a),
    "standard_deviation": lambda a, b: np.std(a, ddof=1),
    "interval_half_width": lambda a, b: student_t(0.975, len(a) - 1) * stats.sem(a),
    "geometric_mean": lambda a, b: stats.gmean(a),
    "log_half_width": lambda a, b: student_t(0.975, len(a) - 1) * stats.sem(np.log(a)),
    "spread_low": lambda a, b: spread(a, 0.975),
    "spread_high": lambda a, b: spread(a, 0.025),
    "welch_t": lambda a, b: stats.ttest_ind(a, b, equal_var=False).statistic,
    "welch_p_value": lambda a, b: stats.ttest_ind(a, b, equal_var=False).pvalue,
    "welch_degrees": lambda a, b: welch_degrees(a, b),
    "welch_half_width_90": lambda a, b: student_t(0.95, welch_degrees(a, b)) * np.hypot(stats.sem(a), stats.sem(b)),
    "paired_t": lambda a, b: stats.ttest_rel(a, b).statistic,
    "paired_half_width_95": lambda a, b: student_t(0.975, len(a) - 1) * stats.sem(a - b),
    "slope": lambda a, b: stats.linregress(a, b).slope,
    "slope_error": lambda a, b: stats.linregress(a, b).stderr,
    "slope_p_value": lambda a, b: stats.linregress(a, b).pvalue,
}


def student_t(probability, degrees):
    """Quantile above 0.5 by the inverse incomplete beta function: stats.t.ppf of SciPy 1.10 has errors up to 4e-9."""
    return np.sqrt(degrees * (1 / special.betaincinv(degrees / 2, 0.5, 2 * (1 - probability)) - 1))


def spread(a, tail):
    return np.std(a, ddof=1) / np.mean(a) * np.sqrt((len(a) - 1) / stats.chi2.ppf(tail, len(a) - 1))


def welch_degrees(a, b):
    va, vb = stats.sem(a) ** 2, stats.sem(b) ** 2
    return (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))


def main():
    text = subprocess.run([sys.argv[1]], capture_output=True, text=True, check=True).stdout
    seen, wrong = set(), 0
    for row in csv.DictReader(io.StringIO(text)):
        a, b = (np.array(row[name].split(), float) for name in "ab")
        ours, theirs = float(row["result"]), CHECKS[row["what"]](a, b)
        seen.add(row["what"])
        if not abs(ours - theirs) <= 1e-9 * max(1, abs(theirs)):
            wrong += 1
            print(f"{row['what']} of {len(a)} values: {ours!r}, by SciPy {theirs!r}")
    missing = set(CHECKS) - seen
    if missing:
        print("not written:", ", ".join(sorted(missing)))
    print(f"{len(seen)} kinds of numbers checked, {wrong} differ")
    return 1 if wrong or missing else 0


if __name__ == "__main__":
    sys.exit(main())

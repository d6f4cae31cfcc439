"""The result as a Markdown table, alone or beside an earlier one."""

import member


def milliseconds(seconds):
    return "–" if seconds is None else f"{1000 * seconds:.0f}"


def call_cell(result, name):
    """p50 / p99 in ms."""
    times = result["member"][name]
    cell = f"{milliseconds(member.percentile(times, 0.5))} / {milliseconds(member.percentile(times, 0.99))}"
    failed = sum(n for code, n in result["member"]["failures"].items() if code.startswith(name))
    return f"{cell}, {failed} of {len(times)} failed" if failed else cell


def rate_cell(result):
    quiet, beside = result["quiet"]["rate"], result["member"]["rate"]
    return f"{100 * (beside / quiet - 1):+.0f} %" if quiet and beside else "–"


def health_cell(result):
    if result["exit_code"] is not None:
        return f"died, exit {result['exit_code']}"
    seconds = result["healthy_after"]
    word = "no" if seconds is None else "yes" if seconds < 5 else f"after {seconds:.0f} s"
    return word if result["stop_code"] == 0 else f"{word}; stopped with {result['stop_code']}"


COLUMNS = [
    ("adjust p50 / p99, ms", lambda r: call_cell(r, "adjust")),
    ("table p50 / p99, ms", lambda r: call_cell(r, "table")),
    ("rate", rate_cell),
    ("memory, MB", lambda r: f"{r['memory_growth'] / 1e6:+.0f}"),
    ("healthy after", health_cell),
    ("load", lambda r: f"{r['load']:.0f}"),
]


def cells(result):
    if result is None:
        return [""] * len(COLUMNS)
    if "error" in result:
        return [result["error"].replace("|", "/")[:80]] + ["–"] * (len(COLUMNS) - 1)
    return [cell(result) for _, cell in COLUMNS]


def table(results, before=None):
    """Rows of a Markdown table. With `before`, each cell shows before → after."""
    lines = ["| attack | " + " | ".join(name for name, _ in COLUMNS) + " |", "| --- " * (len(COLUMNS) + 1) + "|"]
    names = list(dict.fromkeys([r["attack"] for r in (before or [])] + [r["attack"] for r in results]))
    find = {r["attack"]: r for r in results}
    find_before = {r["attack"]: r for r in before or []}
    for name in names:
        row = cells(find.get(name))
        if before is not None:
            row = [f"{a} → {b}" for a, b in zip(cells(find_before.get(name)), row)]
        lines.append(f"| {name} | " + " | ".join(row) + " |")
    return "\n".join(lines)


def outcomes(results):
    return "\n".join(f"- {r['attack']}: {r['what']}. {r.get('outcome', r.get('error', ''))}" for r in results)

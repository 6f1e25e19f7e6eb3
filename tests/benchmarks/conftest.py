"""After the run: one table of ratios, medians of repeats."""


def pytest_terminal_summary(terminalreporter, config):
    session = getattr(config, "_benchmarksession", None)
    found = session.benchmarks if session else []
    peers, imports = {}, {}
    for bench in found:
        info = bench.extra_info
        if {"uncertainty", "monte_carlo", "coverage", "matching", "report"} & set(info):
            continue
        if "who" in info:
            peers.setdefault((info["count"], info["points"]), {})[info["who"]] = bench.stats.median
        elif "module" in info:
            imports[info["module"]] = bench.stats.median
    write = terminalreporter.write_line
    if peers:
        write("\nsolve and correct, medians: rfcal against scikit-rf OnePort in the same run")
        write("standards  points   rfcal / us  scikit-rf / us   ratio   rfcal ns a point")
        for (count, points), who in sorted(peers.items()):
            ours, peer = who["rfcal"], who["scikit-rf"]
            write(
                f"{count:9d} {points:7d} {ours * 1e6:12.1f} {peer * 1e6:15.0f} "
                f"{peer / ours:7.0f} {ours / points * 1e9:18.1f}"
            )
    for module, median in imports.items():
        write(f"import {module}: {median * 1e3:.0f} ms, {median / imports['numpy']:.2f} x numpy")
    for bench in found:
        if "panel" in bench.extra_info:
            write(
                f"panel {bench.extra_info['panel']}: {bench.stats.median * 1e3:.1f} ms a move in "
                "the kernel (budget 25 ms)"
            )
    lines = {
        (b.extra_info["line"], b.extra_info["member"]): b.stats.median
        for b in found
        if "line" in b.extra_info
    }
    for task in sorted({task for task, _ in lines}):
        ours, peer = lines[task, "rfcal"], lines[task, "scikit-rf"]
        write(
            f"{task} a line, 100001 points: rfcal {ours * 1e3:.1f} ms, scikit-rf "
            f"{peer * 1e3:.0f} ms, ratio {peer / ours:.0f}"
        )
    linear = {b.extra_info["who"]: b for b in found if b.extra_info.get("uncertainty") == "linear"}
    if linear:
        ours, peer = (
            linear[who].stats.median / linear[who].extra_info["points"] for who in ("rfcal", "GTC")
        )
        write(
            f"linear propagation: rfcal {ours * 1e6:.2f} us a point, GTC {peer * 1e6:.0f}, "
            f"ratio {peer / ours:.0f}"
        )
    for bench in (b for b in found if "matching" in b.extra_info):
        info, median = bench.extra_info, bench.stats.median
        if "faster" in info:
            ratio = [a / b for a, b in zip(info["ours"], info["theirs"], strict=True)]
            write(
                f"rank against scipy's differential evolution on all {len(ratio)} networks: "
                f"{info['faster']:.0f} times faster; worst reflection, best of all: "
                f"{min(info['ours']):.4f}, scipy {min(info['theirs']):.4f}; better or equal in "
                f"{sum(r < 1.0001 for r in ratio)}, within 5 % in {sum(r < 1.05 for r in ratio)}, "
                f"largest ratio {max(ratio):.2f}"
            )
        else:
            write(
                f"rank {info['matching']}, {info['points']} points: {median * 1e3:.0f} ms for "
                f"{info['n']} networks"
            )
    drawn = {}
    for b in found:
        if "monte_carlo" in b.extra_info:
            drawn.setdefault(tuple(b.extra_info["monte_carlo"]), {})[b.extra_info["who"]] = b
    for (count, draws, points), who in sorted(drawn.items()):
        ours, bare = who["rfcal"].stats.median, who["numpy"].stats.median
        write(
            f"Monte Carlo, {count} standards, {draws} draws, {points} points: "
            f"{ours / bare:.1f} x drawing the random numbers, "
            f"{ours / draws / points * 1e9:.0f} ns a draw and point"
        )
    for b in found:
        if "quantiles" in b.extra_info:
            write(f"verdict of Monte Carlo on a sweep of 201 points: {b.stats.median:.1f} s")
    whole: dict = {}
    for b in found:
        if "report" in b.extra_info:
            whole.setdefault(b.extra_info["report"], {})[b.extra_info["who"]] = b
    for what, who in whole.items():
        ours, bare = who["rfcal report"], who["bare script"]
        write(
            f"report of {what}: {ours.stats.median:.2f} s, bare script {bare.stats.median:.2f} s, "
            f"ratio {ours.stats.median / bare.stats.median:.1f} (processor time "
            f"{ours.extra_info['cpu'] / bare.extra_info['cpu']:.1f}); "
            f"peak {ours.extra_info['peak']:.0f} MB (bare {bare.extra_info['peak']:.0f}); "
            f"results.json {ours.extra_info['json']:.0f} bytes a point"
        )
    audits = [b.extra_info["coverage"] for b in found if "coverage" in b.extra_info]
    if audits:
        write("coverage in per cent; linear intervals of R and X for comparison")
    for row in audits:
        shares = "  ".join(f"{k} {100 * v:.1f}" for k, v in row.items() if isinstance(v, float))
        write(f"{row['setup']}, {row['device']}: {shares}")

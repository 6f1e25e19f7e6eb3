"""Draws sessions, makes one mistake in each, and prints what was found of them."""

import argparse
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from tests.benchmarks.campaign.judging import Outcome, Row, judge, outcome
from tests.benchmarks.campaign.long_lines import draw_line, misplaced
from tests.benchmarks.campaign.mistakes import KINDS, Wrong
from tests.benchmarks.campaign.sessions import Session, draw

FEW = "few points"
ALL_KINDS = (*KINDS, FEW)


def plan(seed: int, honest: int, sessions: int, kinds: Iterable[str], protocol: bool):
    """Which kinds are done to which honest session: by its number."""
    drawn = [draw((seed, i), protocol) for i in range(honest)]
    todo: dict[int, list[str]] = {i: [] for i in range(honest)}
    for number, (kind, (_, applies)) in enumerate(KINDS.items()):
        if kind not in kinds:
            continue
        order = [(i + 67 * number) % honest for i in range(honest)]
        for i in [i for i in order if applies(drawn[i])][:sessions]:
            todo[i].append(kind)
    return [((seed, i), protocol, tuple(kinds)) for i, kinds in todo.items()]


def run_one(task) -> tuple[Session, Outcome, list[Row]]:
    """One honest session, and the mistakes that are made in it."""
    seed, protocol, kinds = task
    session = draw(seed, protocol)
    twin = outcome(session)
    rows = []
    for kind in kinds:
        wrong_session = draw(seed, protocol)
        rng = np.random.default_rng([*seed, list(KINDS).index(kind)])
        wrong = KINDS[kind][0](wrong_session, rng)
        rows.append(judge(kind, wrong_session, wrong, outcome(wrong_session), twin))
        rows[-1].redundancy = session.redundancy
    honest = (session.redundancy, session.path_of, session.typed, session.kind, session.band, seed)
    return honest, twin, rows


def run_line(seed) -> Row:
    """A line check in too few points beside one that shows the whole line."""
    both = []
    for few in (False, True):
        session, places = draw_line(seed, few)
        found = outcome(session)
        found.misplaced = not found.refused and misplaced(places, *found.places)
        both.append(found)
    how = "length stated" if "length_m" in session.line_check else "length not stated"
    return judge(FEW, session, Wrong(how), both[1], both[0])


def run(seed=1, honest=600, sessions=25, kinds=ALL_KINDS, protocol=False, processes=1):
    """Honest outcomes with what they are of, and the rows of all mistakes."""
    tasks = plan(seed, honest, sessions, kinds, protocol)
    lines = [(seed, 7, i) for i in range(sessions)] if FEW in kinds else []
    if processes > 1:
        with ProcessPoolExecutor(processes) as pool:
            done = list(pool.map(run_one, tasks, chunksize=4))
            rows = list(pool.map(run_line, lines, chunksize=2))
    else:
        done, rows = [run_one(task) for task in tasks], [run_line(seed) for seed in lines]
    rows += [row for *_, some in done for row in some]
    rows.sort(key=lambda row: (ALL_KINDS.index(row.kind), row.seed))
    return [(of, twin) for of, twin, _ in done], rows


def print_table(rows: list[Row], by: str) -> None:
    """Counts of harmful sessions by one of their properties."""
    print(f"\n{by:28}  of  harmful refused  found  named silent | found named of harmful, %")
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(getattr(row, by), []).append(row)
    for name, some in groups.items():
        print_row(name, some)
    print_row("all", rows)


def print_row(name: str, rows: list[Row]) -> None:
    bad = [r for r in rows if r.harmful]
    count = [sum(getattr(r, what) for r in bad) for what in ("refused", "found", "named")]
    shares = [f"{100 * c / len(bad):5.0f}" if bad else "    -" for c in count[1:]]
    silent = len(bad) - count[1]
    numbers = "".join(f"{c:7d}" for c in (len(rows), len(bad), *count, silent))
    print(f"{name:25}{numbers} | {'  '.join(shares)}")


def print_summary(rows: list[Row]) -> None:
    """The shares that are aimed at, over all harmful sessions and with each kind counted alike."""
    for name, some in (("all", rows), ("that leave a trace", [r for r in rows if not r.traceless])):
        bad = [r for r in some if r.harmful]
        kinds: dict[str, list[Row]] = {}
        for row in bad:
            kinds.setdefault(row.kind, []).append(row)
        for what in ("found", "named") if bad else ():
            hits = np.array([sum(getattr(r, what) for r in k) for k in kinds.values()])
            of = np.array([len(k) for k in kinds.values()])
            share, doubt = alike(hits, of)
            pooled = f"{hits.sum() / of.sum():.1%}"
            print(f"{what} of {name}: {pooled}; each kind alike: {share:.1%} ± {doubt:.1%}")


def alike(hits: np.ndarray, of: np.ndarray) -> tuple[float, float]:
    """The share of hits with each kind counted alike, and what chance leaves of it (k = 1).

    By Laplace's rule of succession, so that one hit of one is not certain.
    """
    likely = (hits + 1) / (of + 2)
    doubt = np.sqrt(np.sum(likely * (1 - likely) / of)) / of.size
    return float(np.mean(hits / of)), float(doubt)


def print_honest(honest) -> None:
    """Coverage of honest sessions, by what they are of, and the alarms that they raise."""
    alarms = [(of, twin.alarms()) for of, twin in honest]
    raised = sum(bool(codes) for _, codes in alarms)
    print(f"\nhonest sessions: {len(honest)}, with a false alarm: {raised}")
    print("alarms:", dict(Counter(code for _, codes in alarms for code in codes)))
    for of, twin in honest:
        if codes := twin.alarms():
            said = twin.refused or twin.crashed
            said = said or next(f.message for f in twin.warned() if f.code == codes[0])
            print(f"   {of}: {said}")
    warned = Counter(f.code for _, twin in honest for f in twin.warned())
    print("all warnings:", dict(warned))
    held = [(of, twin) for of, twin in honest if twin.inside is not None]
    if not held:
        return
    print(f"\n{'coverage, %':34} sessions   R at answer   X at answer    R sweep   X sweep")
    titles = ("redundancy", "path", "typed", "device", "band")
    for at, title in enumerate(titles):
        for group in sorted({of[at] for of, _ in held}):
            some = [twin for of, twin in held if of[at] == group]
            print_coverage(f"{title}: {group or 'none'}", some)
    print_coverage("all", [twin for _, twin in held])


def print_coverage(name: str, some: list[Outcome]) -> None:
    at = 100 * np.mean([twin.inside[twin.answer] for twin in some], axis=0)
    sweep = 100 * np.mean([twin.inside.mean(0) for twin in some], axis=0)
    print(f"{name:34} {len(some):8d} {at[0]:13.1f} {at[1]:13.1f} {sweep[0]:10.1f} {sweep[1]:9.1f}")


def print_said(rows: list[Row], kinds: Iterable[str]) -> None:
    """Each harmful session with what was said of it."""
    for row in (r for r in rows if r.kind in kinds and r.harmful):
        verdict = "named" if row.named else "found" if row.found else "SILENT"
        lost = ", without a trace" if row.traceless else ""
        print(f"{row.kind} {row.seed} [{row.redundancy}] {row.how}: {verdict}{lost}")
        for text in row.said:
            print(f"      {text[:400]}")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.campaign")
    parser.add_argument("--seed", type=int, nargs="+", default=[1], help="several are pooled")
    parser.add_argument("--honest", type=int, default=600, help="honest sessions")
    parser.add_argument("--sessions", type=int, default=25, help="sessions of each kind")
    parser.add_argument("--kinds", nargs="*", default=ALL_KINDS, help="only these kinds")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--protocol", action="store_true", help="all recommended readings taken")
    parser.add_argument("--say", action="store_true", help="print what was said of each")
    asked = parser.parse_args()
    how = (asked.honest, asked.sessions, asked.kinds, asked.protocol, asked.processes)
    seeds = [run(seed, *how) for seed in asked.seed]
    honest, rows = ([one for seed in seeds for one in seed[part]] for part in (0, 1))
    print("the recommended protocol" if asked.protocol else "the mixture")
    print_table(rows, "kind")
    print_table(rows, "redundancy")
    print_summary(rows)
    print_honest(honest)
    if asked.say:
        print_said(rows, asked.kinds)


if __name__ == "__main__":
    main()

"""Run the study and print its table: `python -m tests.bench.study [SEED [REACH_UVI]]`.

With REACH_UVI each spot was calibrated up to that UVI only.
"""

# ruff: noqa: T201 - a study prints what it found

import math
import sys
import time

from exposure.events import EventKind
from tests.bench.study.judge import Verdict, false_per_spot_month, judge, median_warning_days
from tests.bench.study.run import run
from tests.bench.study.world import DAYS, lamps


def table(verdict: Verdict, spots: int, days: int) -> str:
    """Return the study's table in Markdown, with the targets beside what came out."""
    rows = [
        "| kind | right | false | precision | had to be told | told | recall |",
        "|---|---|---|---|---|---|---|",
    ]
    for kind, score in sorted(verdict.scores.items(), key=lambda row: list(EventKind).index(row[0])):
        n_events = score.right + score.false
        precision = f"{100 * score.right / n_events:.0f} %" if n_events else "-"
        recall = f"{100 * score.told / score.had_to:.0f} %" if score.had_to else "-"
        rows.append(
            f"| {kind.value} | {score.right} | {score.false} | {precision} "
            f"| {score.had_to} | {score.told} | {recall} |"
        )
    ceiling = verdict.score(EventKind.OVER_CEILING)
    ageing = [verdict.score(kind) for kind in (EventKind.LAMP_FADING, EventKind.LAMP_RISING)]
    held = 100 * verdict.forecasts_held / max(1, verdict.forecasts)
    rows += [
        "",
        "| what | found | target |",
        "|---|---|---|",
        f"| days with the ceiling passed beyond doubt and not told | {ceiling.had_to - ceiling.told} "
        f"of {ceiling.had_to} | 0 |",
        f"| days with the ceiling passed by less than the doubt of 15 % and told | {verdict.doubtful_told} "
        f"of {verdict.doubtful_breaches} | - |",
        f"| false alerts a spot and month | {false_per_spot_month(verdict, spots, days):.3f} | at most 0.1 |",
        f"| median warning before a rising or fading lamp left its band "
        f"| {median_warning_days(ageing):.0f} days | at least 14 |",
        f"| forecasts whose interval held | {held:.0f} % of {verdict.forecasts} | 95 % |",
    ]
    return "\n".join(rows)


def main() -> None:
    """Run it and print it."""
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    began = time.perf_counter()
    reach_uvi = float(sys.argv[2]) if len(sys.argv) > 2 else math.inf
    verdict, years = Verdict(), lamps(seed, reach_uvi=reach_uvi)
    for lamp in years:
        verdict.add(judge(run(lamp)))
    print(table(verdict, len(years), DAYS))
    if reach_uvi < math.inf:
        print(f"\nof the days not told, {verdict.silent_breaches} were not told as above the band either")
    print(f"\nseed {seed}, {len(years)} lamps, {DAYS} days, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()

"""Print how often each doubt is raised, rightly and wrongly.

``python -m tests.speed.doubt_rates [RUNS]``
"""

import sys

from tests.judging.doubt_rates import all_rates

RUNS = 400


def main(runs: int = RUNS) -> None:
    """A line for each rate: share raised, its 95 % interval (Wilson), number of runs."""
    for rate in all_rates(runs):
        low, high = rate.interval
        sys.stdout.write(
            f"{rate.what:52} {rate.share:7.1%}  ({low:.1%} to {high:.1%})  {rate.runs} runs\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))

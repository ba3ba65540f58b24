"""Which vignettes the rules read otherwise: `python -m tests.vignettes`.

Exit code 1: one that is not disputed is read otherwise.
"""

import sys
import tempfile
from pathlib import Path

from tests.vignettes.judge import judge, read_expected, read_verdicts, sum_up
from tests.vignettes.stored import store_vignettes


def main() -> int:
    """Run the vignettes and print what differs, then the counts."""
    with tempfile.TemporaryDirectory() as folder:
        judged = judge(read_verdicts(store_vignettes(Path(folder))), read_expected())
    for each in judged:
        if each.faults:
            print(
                f"{each.site} {each.episode_id:8} {each.group:28} "
                f"{'disputed' if each.disputed else '':9}{', '.join(each.faults)}"
                + (f" ({each.found})" if "positional" in each.faults else "")
            )
    agreement = sum_up(judged)
    print("not disputed: {} of {} agree".format(*agreement.agree))
    print("not positional: {} of {} called positional".format(*agreement.let_in))
    print("positional: {} of {} called positional".format(*agreement.kept))
    return int(agreement.agree[0] < agreement.agree[1])


if __name__ == "__main__":
    sys.exit(main())

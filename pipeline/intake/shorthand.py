"""One cell that stands for several: what a negative test leaves empty is written out."""

import pandas as pd

from pipeline.intake.cell_values import choose_reader
from pipeline.intake.handed import hold_once
from pipeline.intake.problem import DESCRIBED
from schemas.delivery import SIGNS


def write_out_negatives(texts: pd.DataFrame) -> pd.DataFrame:
    """Write none into the empty cells for nystagmus and vertigo of tests whose result is negative.

    What is filled stays, so that a contradiction is seen.

    Parameters
    ----------
    texts
        Cells of the examinations as handed in, by row number.

    Returns
    -------
    pd.DataFrame
        The same cells as a site has them that tells each sign of each test.
    """
    said = texts["result"].dropna().unique()
    read = choose_reader(DESCRIBED["examinations"]["result"])
    negative = texts["result"].isin([text for text in said if read(text) == "negative"])
    if not negative.any():
        return texts
    written = {
        sign: texts[sign].astype(object).mask(negative & texts[sign].isna(), "none")
        for sign in SIGNS
    }
    return texts.assign(
        **{sign: pd.Series(hold_once(cells), index=texts.index) for sign, cells in written.items()}
    )

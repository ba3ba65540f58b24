"""Every code of an adverse event is told of, once by itself and once among all."""

import pandas as pd

from schemas import codes
from schemas.adverse import EVENTS, were_recorded


def test_every_code_of_an_event_is_told_of_once_and_in_any():
    told = [code for name, event in EVENTS.items() if name != "any" for code in event.codes]
    assert sorted(told) == sorted(set(codes.ADVERSE) - {"none"})
    assert EVENTS["any"].codes == set(told)


def test_a_cell_of_several_codes_has_each_of_them():
    cells = pd.Series(["none", "nausea", "nausea; neck_pain", "canal_switch; other"])
    found = {name: were_recorded(cells, event.codes).tolist() for name, event in EVENTS.items()}
    assert found["any"] == [False, True, True, True]
    assert found["nausea"] == [False, True, True, False]
    assert found["pain"] == [False, False, True, False]
    assert found["switch"] == found["other"] == [False, False, False, True]

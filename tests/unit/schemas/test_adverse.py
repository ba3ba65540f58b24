"""Every code of an adverse event is told of, once by itself and once among all."""

from schemas import codes
from schemas.adverse import EVENTS


def test_every_code_of_an_event_is_told_of_once_and_in_any():
    told = [code for name, event in EVENTS.items() if name != "any" for code in event.codes]
    assert sorted(told) == sorted(set(codes.ADVERSE) - {"none"})
    assert EVENTS["any"].codes == set(told)
